#pragma once
// Who looked at what patients' records hold, and why, as `read` records of the journal: durable
// before anything is shown or sent.

#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::cli {

struct Reader {
  std::string actor;  // actor_of()
  std::string why;
};
// One thing that is looked at; what is not known is empty. `patient` is hidden: with it, or with
// the session, the look is among the patient's disclosures.
struct Look {
  std::string what;  // stable code: "record-shown"
  std::string session;
  std::uint32_t revision = 0;
  std::string patient;
  std::string therapist;
};

// A record a look. Errors: of the store; kInvalid for words that are no line.
base::Result<void> note_looks(journal::Store& store, const Reader& reader,
                              const std::vector<Look>& looks);
// What the record at a position is about, as a look at it. Errors: kNotFound, kCorrupt, kIo.
base::Result<Look> look_at(const journal::Store& store, journal::Position position,
                           std::string what);
// One for each patient whose records the query finds up to `through`, and one for none when there
// are none.
base::Result<std::vector<Look>> looks_at(const journal::Store& store, journal::Query query,
                                         journal::Position through, const std::string& what);

// Whether the journal has no session of a patient (hidden), as after a slip of the pen.
base::Result<bool> is_a_stranger(const journal::Store& store, const std::string& patient);
// Says so on the standard error, where what is shown of nobody would look like an account of
// somebody. Errors: of the store.
base::Result<void> remark_a_stranger(const journal::Store& store, const std::string& patient);

}  // namespace engine::cli

#pragma once
// The links of patients' sheets (docs/sheet.md): a therapist of the ward list hands one out, it
// opens one patient's plan for a while, and can be ended. The journal is their only memory: a
// handed-out record holds what was kept, under the session that its reports make, and the link
// itself stands there as a keyed hash only. So they hold over restarts and on every engine that
// shares the journal. Thread safe.

#include <cstdint>
#include <functional>
#include <map>
#include <mutex>
#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/journal/journal.h"
#include "engine/journal/search_key.h"

namespace engine::web {

struct Named {
  std::string system;
  std::string value;
};

// What a link leads to.
struct SheetLink {
  std::string session;  // the engine's id of the session that its reports make
  std::string frame;    // see sheet_document.h
  std::string patient;  // hidden, as the journal has it
  std::int64_t handed_out_ms = 0;
  std::int64_t expires_ms = 0;
  std::string expires;  // FHIR instant
  bool over = false;    // only what was done before is still taken
};

class Sheets {
 public:
  struct World {
    journal::Appender& journal;
    const journal::SearchKey& key;
    const base::Clock& clock;
    base::Random& random;
    std::function<base::Result<std::string>()> ward;  // its JSON, checked
    // The engine's id of a session, from the identifier that names it.
    std::function<std::string(std::string_view system, std::string_view value)> session_id;
  };
  explicit Sheets(World world) : world_(std::move(world)) {}

  struct HandedOut {
    std::string token;
    std::string expires;  // FHIR instant
  };
  // Both are of the ward list; `display` tells apart who has no identifier. `caller` is who signed
  // in, and so who did it; "" where nobody signs in, and the named therapist is taken for it.
  // Errors: kNotFound for
  // who is not on the list, kConflict when too many links of the patient are open, kInvalid for
  // somebody who may not, kLimit when the journal is busy, and those of ward() and the journal.
  // `done` runs on any thread.
  void hand_out(const Named& patient, const Named& therapist, std::string_view display,
                const std::string& caller, std::function<void(base::Result<HandedOut>)> done);
  // Ends every open link of a patient and answers how many there were. Errors: likewise.
  void end(const Named& patient, const Named& therapist, std::string_view display,
           const std::string& caller, std::function<void(base::Result<std::size_t>)> done);
  // Errors: kNotFound for every link that does not work, whatever the reason; kIo.
  base::Result<SheetLink> find(std::string_view token) const;
  // What the patient sees: name, facility, the breathing order, the ordered range, when to stop and
  // whom to call, and what was reported. Errors: kNotFound when the link is over or the patient is
  // not on the ward list any more; those of ward() and the journal.
  base::Result<std::string> plan(const SheetLink& link) const;
  // The session's latest revision; "" when nothing has been reported yet.
  base::Result<std::string> latest(const SheetLink& link) const;

  std::int64_t now_ms() const;

 private:
  base::Result<std::vector<journal::Record>> open_links(const std::string& patient) const;

  World world_;
};

// Counts wrong links by address and in all, in windows of time, so that nobody can fill the journal
// with them. A right link is never turned away: behind a gateway all have one address. Thread safe.
class WrongLinks {
 public:
  // False when it is one too many.
  bool note(const std::string& address, std::int64_t now_ms);

 private:
  std::mutex mutex_;
  std::int64_t window_ = 0;
  std::uint32_t all_ = 0;
  std::map<std::string, std::uint32_t> of_;  // at most kSheetTriesMax
};

}  // namespace engine::web

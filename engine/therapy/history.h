#pragma once
// What the revisions of a session say together: which entries exist, since when their content is
// what it is, and which were withdrawn. A revision carries the whole session so far; an entry that
// is simply missing stays as it was.

#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <unordered_set>

#include "engine/json/document.h"
#include "engine/therapy/attested.h"
#include "engine/therapy/report.h"
#include "engine/therapy/translate.h"

namespace engine::therapy {

struct Workshop;

struct History {
  std::unordered_map<std::string, std::string> issued;  // entry id -> when its content was taken in
  std::unordered_set<std::string> withdrawn;
  AttestationHistory attestations;
  // False: something that was said before stays as it was, and cannot be made any more, since the
  // model is another by now. The report says what.
  bool whole = true;
};

// The reason of a hold for it.
inline constexpr std::string_view kNotAdmitted = "not-admitted";

// Merges the revisions before the last into the last one's document (already read): entries it
// leaves out are copied in, whatever the limits in force think of their values: what was sent and
// taken in is there. Says what is odd about the sequence.
History merge_history(std::span<const Revision> revisions, const Workshop& shop,
                      json::Document& document, Report& report);
// What is odd about a revision behind others that were all given up and may have landed:
// they say nothing, and what may be there is not changed without a word. `other_patient`: it is
// about another one.
void ask_after_given_up(const json::Node& session, bool other_patient, Report& report);

}  // namespace engine::therapy

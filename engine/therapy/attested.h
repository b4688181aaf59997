#pragma once
// For which entries that an assistant or a student recorded a licensed person stands. Pure.
// An attestation is for what an entry said when it was made: a later revision carries it on, and
// what it changes afterwards nobody has looked at.
// Source: common practice (co-signature of entries of students and assistants), no source.

#include <cstddef>
#include <string>
#include <string_view>
#include <unordered_map>
#include <unordered_set>
#include <vector>

#include "engine/json/node.h"

namespace engine::therapy {

struct History;

// Who a person of a session document is, as a key: by identifier, or by name where there is none.
std::string person_key(const json::Node* person);

// What the revisions of a session say of attestations, each revision by its place among them.
struct AttestationHistory {
  struct Since {
    std::size_t revision = 0;
    std::string changed_by;  // who changed it then; empty: it was new
  };
  std::unordered_map<std::string, Since> content;      // by entry id; none: as in the first
  std::unordered_map<std::string, std::size_t> first;  // by who, when and for which entry
  std::size_t last = 0;                                // the revision that is translated

  void note(const json::Node& session, std::size_t revision);
};

class Attested {
 public:
  // `session` is the document's root; both outlive this.
  Attested(const json::Node& session, const AttestationHistory& history);

  // Somebody else than `author`, who recorded it, stands for the entry as it reads now: the
  // attestation came with that content or later, or is of the person who changed it.
  bool covers(const json::Node& entry, const json::Node* author) const;

  // Whoever attests something in the last revision that no revision before had attested so.
  const std::vector<const json::Node*>& anew() const { return anew_; }

 private:
  struct By {
    std::string person;
    std::size_t revision = 0;  // the first that has it
  };
  static bool stands(const By& by, const AttestationHistory::Since& since,
                     const std::string& author);

  const AttestationHistory& history_;
  std::unordered_multimap<std::string_view, By> of_entry_;
  // Of those for all entries, for each person the last: of these the last two tell all, since the
  // author is one person at most. And everybody, for those who changed an entry themselves.
  std::vector<By> latest_of_all_;
  std::unordered_set<std::string> of_all_;
  std::vector<const json::Node*> anew_;
};

}  // namespace engine::therapy

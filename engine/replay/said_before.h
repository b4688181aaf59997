#pragma once
// What the revisions of a session that stand say together, for comparing the next one with it: an
// entry that a revision leaves out stays as it was, one that it lists under `withdrawal` goes. The
// same rules as therapy::merge_history, without its judgement. For this folder.

#include <map>
#include <set>
#include <string>

#include "engine/json/document.h"

namespace engine::replay {

class SaidBefore {
 public:
  // The next revision that stands.
  void take(const json::Node& session);
  // One that was never sent, or is yet to be: what it takes back goes with the next that is.
  void take_back(const json::Node& session);
  // What was taken back is gone from here on.
  void settle();
  // Appends the entries that the document does not list and that are there.
  void add_to(json::Document& document) const;

 private:
  std::map<std::string, std::string> entries_;  // their JSON, by id
  std::set<std::string> taken_back_;
};

}  // namespace engine::replay

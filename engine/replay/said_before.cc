#include "engine/replay/said_before.h"

#include "engine/json/write.h"

namespace engine::replay {
namespace {

using json::Node;

bool in_error(const Node& session) {
  return session.string_at("status") == "entered-in-error";
}

}  // namespace

void SaidBefore::take(const Node& session) {
  take_back(session);
  settle();
  if (in_error(session)) {
    return;
  }
  if (const Node* list = session.find("entry")) {
    for (const Node& entry : *list) {
      if (const auto id = entry.string_at("id"); !id.empty()) {
        entries_[std::string(id)] = json::to_text(entry);
      }
    }
  }
}

void SaidBefore::take_back(const Node& session) {
  if (in_error(session)) {
    for (const auto& [id, text] : entries_) {
      taken_back_.insert(id);
    }
  }
  if (const Node* list = session.find("withdrawal")) {
    for (const Node& withdrawal : *list) {
      taken_back_.emplace(withdrawal.string_at("entry"));
    }
  }
}

void SaidBefore::settle() {
  for (const std::string& id : taken_back_) {
    entries_.erase(id);
  }
  taken_back_.clear();
}

void SaidBefore::add_to(json::Document& document) const {
  Node* list = document.root()->find("entry");
  std::set<std::string_view> listed;
  for (const Node* entry = list != nullptr ? list->first : nullptr; entry != nullptr;
       entry = entry->next) {
    listed.insert(entry->string_at("id"));
  }
  for (const auto& [id, text] : entries_) {
    json::Document entry(document.names());
    if (listed.count(id) != 0 || !entry.parse(text)) {
      continue;
    }
    if (list == nullptr) {
      list = document.make_array();
      document.append(document.root(), "entry", list);
    }
    json::Document::append(list, document.copy(*entry.root()));
  }
}

}  // namespace engine::replay

#include "engine/delivery/unknown_people.h"

#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::delivery {
namespace {

using json::Node;

const json::NameTable& names() {
  static const json::NameTable table;
  return table;
}

// The reference of an object that names a person by identifier too; nullptr when it is none.
Node* reference_in(Node& object) {
  Node* reference = object.find("reference");
  const bool named = object.find("identifier") != nullptr;
  return reference != nullptr && reference->is_string() && named && is_of_person(reference->text())
             ? reference
             : nullptr;
}

void collect(Node& node, std::set<std::string>& out) {
  if (const Node* reference = reference_in(node)) {
    out.emplace(reference->text());
  }
  for (Node* child = node.first; child != nullptr; child = child->next) {
    collect(*child, out);
  }
}

void unlink(Node& object, const Node* member) {
  Node* before = nullptr;
  for (Node* child = object.first; child != member; child = child->next) {
    before = child;
  }
  (before != nullptr ? before->next : object.first) = member->next;
  object.last = object.last == member ? before : object.last;
  --object.count;
}

void drop(Node& node, const std::set<std::string>& people) {
  const Node* reference = reference_in(node);
  if (reference != nullptr && people.count(std::string(reference->text())) != 0) {
    unlink(node, reference);
  }
  for (Node* child = node.first; child != nullptr; child = child->next) {
    drop(*child, people);
  }
}

}  // namespace

bool is_of_person(std::string_view reference) {
  return reference.starts_with("Practitioner?");
}

std::set<std::string> people_in(std::string_view bundle) {
  json::Document document(names());
  std::set<std::string> out;
  if (document.parse(bundle).has_value()) {
    collect(*document.root(), out);
  }
  return out;
}

std::string without_people(std::string_view bundle, const std::set<std::string>& people) {
  json::Document document(names());
  if (!document.parse(bundle).has_value()) {
    return std::string(bundle);
  }
  drop(*document.root(), people);
  return json::to_text(*document.root());
}

}  // namespace engine::delivery

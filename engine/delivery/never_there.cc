#include "engine/delivery/never_there.h"

#include <map>
#include <utility>
#include <vector>

#include "engine/json/document.h"

namespace engine::delivery {
namespace {

using json::Node;

using Names = std::set<std::string>;

// What is referred to from `node`.
void add_references(const Node& node, Names& out) {
  for (const Node& child : node) {
    if (child.is_string() && child.name_text() == "reference") {
      out.emplace(child.text());
    } else if (child.first != nullptr) {
      add_references(child, out);
    }
  }
}

struct Entry {
  std::string full_url;
  Names refers_to;
};

// What is sent keeps what it refers to, and so on.
void keep_referred(std::map<std::string, Names>& left_out, std::vector<Entry> sent) {
  while (!sent.empty()) {
    const Entry entry = std::move(sent.back());
    sent.pop_back();
    for (const std::string& name : entry.refers_to) {
      if (auto kept = left_out.extract(name)) {
        sent.push_back({kept.key(), std::move(kept.mapped())});
      }
    }
  }
}

}  // namespace

Names never_there(std::string_view bundle,
                  const std::function<bool(std::string_view full_url)>& absent) {
  const json::NameTable table;
  json::Document document(table);
  const Node* const list = document.parse(bundle) ? document.root()->find("entry") : nullptr;
  std::map<std::string, Names> left_out;
  std::vector<Entry> sent;
  std::vector<Entry> provenances;
  for (const Node* at = list != nullptr ? list->first : nullptr; at != nullptr; at = at->next) {
    const Node* const resource = at->find("resource");
    if (resource == nullptr) {
      continue;
    }
    Entry entry{std::string(at->string_at("fullUrl")), {}};
    if (resource->string_at("resourceType") == "Provenance") {
      if (const Node* targets = resource->find("target")) {
        add_references(*targets, entry.refers_to);
      }
      provenances.push_back(std::move(entry));
      continue;
    }
    add_references(*resource, entry.refers_to);
    if (resource->string_at("status") == "entered-in-error" && absent(entry.full_url)) {
      left_out.emplace(std::move(entry.full_url), std::move(entry.refers_to));
    } else {
      sent.push_back(std::move(entry));
    }
  }
  keep_referred(left_out, std::move(sent));
  Names out;
  for (const auto& one : left_out) {
    out.insert(one.first);
  }
  for (const Entry& provenance : provenances) {
    bool about_others = provenance.refers_to.empty();
    for (const std::string& name : provenance.refers_to) {
      about_others = about_others || !left_out.contains(name);
    }
    if (!about_others) {
      out.insert(provenance.full_url);
    }
  }
  return out;
}

}  // namespace engine::delivery

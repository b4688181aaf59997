#include "engine/delivery/sent_resources.h"

#include <algorithm>

#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::delivery {

namespace {

// A person who is named by identifier beside the reference is compared by that.
bool says_whose(std::string_view search) {
  return search.starts_with("Patient?") || search.starts_with("Encounter?");
}

void add_searches(const json::Node& node, std::set<std::string>& out) {
  const bool named = node.find("identifier") != nullptr;
  for (const json::Node* child = node.first; child != nullptr; child = child->next) {
    if (child->is_string() && child->name_text() == "reference") {
      if (child->text().find('?') != std::string_view::npos &&
          (!named || says_whose(child->text()))) {
        out.emplace(child->text());
      }
    } else if (child->first != nullptr) {
      add_searches(*child, out);
    }
  }
}

std::string search_in(const json::Node* request) {
  const std::string url(request != nullptr ? request->string_at("url") : std::string_view());
  const std::string_view unless =
      request != nullptr ? request->string_at("ifNoneExist") : std::string_view();
  return !unless.empty()                      ? url + "?" + std::string(unless)
         : url.find('?') != std::string::npos ? url
                                              : std::string();
}

}  // namespace

SentResources::SentResources(std::string_view bundle) {
  const json::NameTable names;
  json::Document document(names);
  const json::Node* list = document.parse(bundle) ? document.root()->find("entry") : nullptr;
  for (const json::Node* entry = list != nullptr ? list->first : nullptr; entry != nullptr;
       entry = entry->next) {
    if (const json::Node* resource = entry->find("resource")) {
      add_searches(*resource, searches_);
      const bool provenance = resource->string_at("resourceType") == "Provenance";
      texts_.try_emplace(
          std::string(entry->string_at("fullUrl")),
          Sent{json::to_text(*resource), search_in(entry->find("request")), provenance});
    }
  }
}

bool SentResources::is_as_sent(std::string_view full_url, std::string_view server_resource,
                               const References& references) const {
  const auto found = texts_.find(full_url);
  return found != texts_.end() &&
         delivery::is_as_sent(server_resource, found->second.text, references);
}

bool SentResources::is_of_same_name(std::string_view full_url,
                                    std::string_view server_resource) const {
  const auto found = texts_.find(full_url);
  return found != texts_.end() && delivery::is_of_same_name(server_resource, found->second.text);
}

std::string_view SentResources::search_of(std::string_view full_url) const {
  const auto found = texts_.find(full_url);
  return found != texts_.end() ? std::string_view(found->second.search) : std::string_view();
}

bool SentResources::all_carried(const std::function<bool(std::string_view full_url)>& holds) const {
  return std::all_of(texts_.begin(), texts_.end(), [&holds](const auto& one) {
    return one.second.provenance || holds(one.first);
  });
}

}  // namespace engine::delivery

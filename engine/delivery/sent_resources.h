#pragma once
// The resources that a bundle sent, by fullUrl, which is the same in every revision of a session.
// The bundle is read once, however many of its resources are looked for. Pure.

#include <functional>
#include <map>
#include <set>
#include <string>
#include <string_view>

#include "engine/delivery/conflict.h"

namespace engine::delivery {

class SentResources {
 public:
  // A text that is no bundle has none.
  explicit SentResources(std::string_view bundle);

  bool has(std::string_view full_url) const { return texts_.find(full_url) != texts_.end(); }
  // Whether what the server gave is what was sent under this fullUrl (conflict.h).
  bool is_as_sent(std::string_view full_url, std::string_view server_resource,
                  const References& references) const;
  // Whether it is that resource at all, by its identifier (conflict.h).
  bool is_of_same_name(std::string_view full_url, std::string_view server_resource) const;
  // Where it is looked for by its identifier, "Observation?identifier=..."; "" when its request
  // names none.
  std::string_view search_of(std::string_view full_url) const;
  // The conditional references in them whose meaning has to be known to compare: whose it is, and
  // what nothing beside the reference names.
  const std::set<std::string>& searches() const { return searches_; }
  // Whether `holds` for the fullUrl of each of them that a later bundle carries again or takes
  // back. A Provenance is about its own revision: it stays.
  bool all_carried(const std::function<bool(std::string_view full_url)>& holds) const;

 private:
  struct Sent {
    std::string text;
    std::string search;
    bool provenance = false;
  };
  std::map<std::string, Sent, std::less<>> texts_;
  std::set<std::string> searches_;
};

}  // namespace engine::delivery

#pragma once
// The resources that a bundle sent, by fullUrl, which is the same in every revision of a session.
// The bundle is read once, however many of its resources are looked for. Pure.

#include <map>
#include <string>
#include <string_view>

namespace engine::delivery {

class SentResources {
 public:
  // A text that is no bundle has none.
  explicit SentResources(std::string_view bundle);

  // Whether what the server gave is what was sent under this fullUrl (conflict.h).
  bool is_as_sent(std::string_view full_url, std::string_view server_resource) const;

 private:
  std::map<std::string, std::string, std::less<>> texts_;
};

}  // namespace engine::delivery

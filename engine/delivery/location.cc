#include "engine/delivery/location.h"

#include <algorithm>

namespace engine::delivery {
namespace {

bool is_id_character(char c) {
  return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' ||
         c == '.';
}

}  // namespace

std::string resource_of(std::string_view location) {
  location = location.substr(0, location.find("/_history/"));
  const std::size_t slash = location.rfind('/');
  if (slash == std::string_view::npos) {
    return {};
  }
  const std::string_view id = location.substr(slash + 1);
  const std::string_view before = location.substr(0, slash);
  const std::size_t start = before.rfind('/');
  const std::string_view type = start == std::string_view::npos ? before : before.substr(start + 1);
  const bool type_good = !type.empty() && std::all_of(type.begin(), type.end(), [](char c) {
    return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
  });
  // FHIR id: at most 64 letters, digits, '-' and '.' (R4 datatypes).
  const bool id_good = !id.empty() && id.size() <= 64 &&
                       std::all_of(id.begin(), id.end(), is_id_character) && id != "." &&
                       id != "..";
  return type_good && id_good ? std::string(type) + "/" + std::string(id) : std::string();
}

std::string version_of(std::string_view location) {
  static constexpr std::string_view kHistory = "/_history/";
  const std::size_t at = location.rfind(kHistory);
  if (at == std::string_view::npos) {
    return {};
  }
  // FHIR R4: versionId is an id.
  const std::string_view version = location.substr(at + kHistory.size());
  const bool good = !version.empty() && version.size() <= 64 &&
                    std::all_of(version.begin(), version.end(), is_id_character);
  return good ? "W/\"" + std::string(version) + '"' : std::string();
}

}  // namespace engine::delivery

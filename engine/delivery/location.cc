#include "engine/delivery/location.h"

#include <algorithm>

#include "engine/base/limits.h"

namespace engine::delivery {
namespace {

bool is_id_character(char c) {
  return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-' ||
         c == '.';
}

constexpr std::string_view kHistory = "/_history/";

// FHIR R4: versionId is an id.
std::string_view version_id_of(std::string_view location) {
  const std::size_t at = location.rfind(kHistory);
  if (at == std::string_view::npos || !is_id(location.substr(at + kHistory.size()))) {
    return {};
  }
  return location.substr(at + kHistory.size());
}

}  // namespace

std::string resource_of(std::string_view location) {
  location = location.substr(0, location.find(kHistory));
  const std::size_t slash = location.rfind('/');
  if (slash == std::string_view::npos) {
    return {};
  }
  const std::string_view id = location.substr(slash + 1);
  const std::string_view before = location.substr(0, slash);
  const std::size_t start = before.rfind('/');
  const std::string_view type = start == std::string_view::npos ? before : before.substr(start + 1);
  const bool type_good =
      !type.empty() && type.size() <= 64 && std::all_of(type.begin(), type.end(), [](char c) {
        return (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z');
      });
  const bool id_good = is_id(id) && id != "." && id != "..";
  return type_good && id_good ? std::string(type) + "/" + std::string(id) : std::string();
}

std::string version_of(std::string_view location) {
  const std::string_view version = version_id_of(location);
  return version.empty() ? std::string() : "W/\"" + std::string(version) + '"';
}

std::string place_of(std::string_view location) {
  std::string place = resource_of(location);
  if (const std::string_view version = version_id_of(location);
      !place.empty() && !version.empty()) {
    place.append(kHistory).append(version);
  }
  return place;
}

std::string_view type_of(std::string_view url) {
  return url.substr(0, url.find_first_of("/?"));
}

// RFC 9110 section 8.8.3 also allows bytes above 7F, of no encoding: what is kept and shown is
// text, and such a tag counts as none.
std::string entity_tag_of(std::string_view text) {
  std::string_view opaque = text;
  if (opaque.starts_with("W/")) {
    opaque.remove_prefix(2);
  }
  const bool quoted = opaque.size() >= 2 && opaque.front() == '"' && opaque.back() == '"';
  if (!quoted || text.size() > base::limits::kEntityTagBytesMax) {
    return {};
  }
  opaque = opaque.substr(1, opaque.size() - 2);
  const bool good = std::all_of(opaque.begin(), opaque.end(), [](char c) {
    const auto byte = static_cast<unsigned char>(c);
    return byte > ' ' && byte != '"' && byte < 0x7F;
  });
  return good ? std::string(text) : std::string();
}

std::string without_odd_bytes(std::string_view part) {
  std::string out(part);
  std::replace_if(
      out.begin(), out.end(), [](char c) { return static_cast<unsigned char>(c) > 0x7F; }, '?');
  return out;
}

bool is_id(std::string_view text) {
  return !text.empty() && text.size() <= 64 &&
         std::all_of(text.begin(), text.end(), is_id_character);
}

}  // namespace engine::delivery

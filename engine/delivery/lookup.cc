#include "engine/delivery/lookup.h"

#include <algorithm>
#include <array>
#include <utility>

#include "engine/delivery/location.h"
#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::delivery {
namespace {

using json::Document;
using json::Node;
using Kind = Sight::Kind;

const json::NameTable& names() {
  static const json::NameTable table;
  return table;
}

// A query of a URL as a form: the same, but for characters that only a URL may have plain.
std::string form_of(std::string_view text) {
  static constexpr char kDigits[] = "0123456789ABCDEF";
  std::string out;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    const bool plain = (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') ||
                       std::string_view("-._*%=&").find(c) != std::string_view::npos;
    if (plain) {
      out += c;
    } else {
      out += {'%', kDigits[byte >> 4U], kDigits[byte & 15U]};
    }
  }
  return out;
}

std::string version_of_resource(const Node& resource) {
  const Node* meta = resource.find("meta");
  const std::string_view version =
      meta != nullptr ? meta->string_at("versionId") : std::string_view();
  return version.empty() ? std::string() : "W/\"" + std::string(version) + '"';
}

void read_resource(const Reply& reply, std::string_view place, Sight& sight) {
  sight.kind = Kind::kThere;
  sight.resource = place;
  sight.etag = reply.header("etag");
  sight.content = reply.body_cut ? std::string() : reply.body;
  Document document(names());
  if (sight.etag.empty() && document.parse(reply.body)) {
    sight.etag = version_of_resource(*document.root());
  }
}

// Of a searchset only what matches counts (FHIR R4 search.mode).
bool read_matches(const Reply& reply, Sight& sight) {
  Document document(names());
  if (reply.body_cut || !document.parse(reply.body) ||
      document.root()->string_at("resourceType") != "Bundle") {
    return false;
  }
  const Node* list = document.root()->find("entry");
  std::size_t matches = 0;
  for (const Node* entry = list != nullptr ? list->first : nullptr; entry != nullptr;
       entry = entry->next) {
    const Node* search = entry->find("search");
    const Node* resource = entry->find("resource");
    const std::string_view mode = search != nullptr ? search->string_at("mode") : "match";
    if (resource == nullptr || (mode != "match" && !mode.empty())) {
      continue;
    }
    ++matches;
    sight.resource = std::string(resource->string_at("resourceType")) + "/" +
                     std::string(resource->string_at("id"));
    sight.etag = version_of_resource(*resource);
    sight.content = json::to_text(*resource);
  }
  sight.kind = matches == 0 ? Kind::kAbsent : matches == 1 ? Kind::kThere : Kind::kSeveral;
  return matches != 1 || resource_of(sight.resource) == sight.resource;
}

}  // namespace

Call call_for(std::string_view place, std::string request_id) {
  const std::size_t question = place.find('?');
  if (question == std::string_view::npos) {
    return {"GET", "/" + std::string(place), "", std::move(request_id)};
  }
  Call call("POST", "/" + std::string(place.substr(0, question)) + "/_search",
            form_of(place.substr(question + 1)), std::move(request_id));
  call.content_type = "application/x-www-form-urlencoded";
  return call;
}

bool read_sight(std::string_view place, const Reply& reply, Sight& sight) {
  static constexpr std::array<int, 6> kForbidden = {400, 403, 405, 406, 415, 501};
  const bool search = place.find('?') != std::string_view::npos;
  sight = Sight();
  if (reply.fate != Reply::Fate::kAnswered) {
    return false;
  }
  if (reply.status == 200) {
    if (search) {
      return read_matches(reply, sight);
    }
    read_resource(reply, place, sight);
    return true;
  }
  if (!search && (reply.status == 404 || reply.status == 410)) {
    sight.kind = reply.status == 410 ? Kind::kGone : Kind::kAbsent;
    return true;
  }
  sight.kind = Kind::kForbidden;
  return (search && reply.status == 404) ||
         std::find(kForbidden.begin(), kForbidden.end(), reply.status) != kForbidden.end();
}

}  // namespace engine::delivery

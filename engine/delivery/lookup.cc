#include "engine/delivery/lookup.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <optional>
#include <utility>
#include <vector>

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
  return is_id(version) ? "W/\"" + std::string(version) + '"' : std::string();
}

void read_resource(const Reply& reply, std::string_view place, Sight& sight) {
  sight.kind = Kind::kThere;
  sight.resource = place;
  sight.etag = entity_tag_of(reply.header("etag"));
  sight.content = reply.body_cut ? std::string() : reply.body;
  Document document(names());
  if (sight.etag.empty() && document.parse(reply.body)) {
    sight.etag = version_of_resource(*document.root());
  }
}

int hex_value(char c) {
  return c >= '0' && c <= '9' ? c - '0' : c >= 'A' && c <= 'F' ? c - 'A' + 10 : c - 'a' + 10;
}

std::string decoded(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const bool escape =
        text[i] == '%' && i + 2 < text.size() &&
        text.substr(i + 1, 2).find_first_not_of("0123456789ABCDEFabcdef") == std::string_view::npos;
    out +=
        escape ? static_cast<char>(hex_value(text[i + 1]) * 16 + hex_value(text[i + 2])) : text[i];
    i += escape ? 2U : 0U;
  }
  return out;
}

// A token of a search (FHIR R4 search.html): "value", "system|value", "|value" or "system|".
struct Token {
  std::optional<std::string> system;
  std::string value;
};

// One parameter's tokens: any of them may match. '\' escapes what would part them.
std::vector<Token> tokens_of(std::string_view text) {
  std::vector<Token> out(1);
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == ',') {
      out.emplace_back();
    } else if (text[i] == '|' && !out.back().system) {
      out.back().system = std::exchange(out.back().value, {});
    } else {
      i += text[i] == '\\' && i + 1 < text.size() ? 1U : 0U;
      out.back().value += text[i];
    }
  }
  return out;
}

bool matches(const Token& token, const Node& identifier) {
  return (!token.system || identifier.string_at("system") == *token.system) &&
         (token.value.empty() || identifier.string_at("value") == token.value);
}

bool has_one_of(const Node& resource, const std::vector<Token>& tokens) {
  const auto any = [&tokens](const Node& identifier) {
    return std::any_of(tokens.begin(), tokens.end(),
                       [&](const Token& token) { return matches(token, identifier); });
  };
  const Node* const identifiers = resource.find("identifier");
  if (identifiers == nullptr || !identifiers->is_array()) {
    return identifiers != nullptr && any(*identifiers);
  }
  for (const Node& one : *identifiers) {
    if (any(one)) {
      return true;
    }
  }
  return false;
}

// What a search asked for: a resource of its type with each identifier that it names.
bool is_asked_for(const Node& resource, std::string_view place) {
  const std::size_t question = place.find('?');
  if (resource.string_at("resourceType") != place.substr(0, question) ||
      !is_id(resource.string_at("id"))) {
    return false;
  }
  std::string_view rest = place.substr(question + 1);
  while (!rest.empty()) {
    static constexpr std::string_view kIdentifier = "identifier=";
    const std::string_view one = rest.substr(0, rest.find('&'));
    rest.remove_prefix(std::min(one.size() + 1, rest.size()));
    if (one.starts_with(kIdentifier) &&
        !has_one_of(resource, tokens_of(decoded(one.substr(kIdentifier.size()))))) {
      return false;
    }
  }
  return true;
}

// How many there are by the server's own count; 0 when it does not count.
std::size_t total_of(const Node& searchset) {
  const Node* const total = searchset.find("total");
  if (total == nullptr || !total->is_number()) {
    return 0;
  }
  const std::string_view text = total->text();
  std::size_t number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  return error == std::errc() && end == text.data() + text.size() ? number : 2;
}

bool has_next_page(const Node& searchset) {
  const Node* const links = searchset.find("link");
  for (const Node* link = links != nullptr ? links->first : nullptr; link != nullptr;
       link = link->next) {
    if (link->string_at("relation") == "next") {
      return true;
    }
  }
  return false;
}

// Of a searchset only what matches counts (FHIR R4 search.mode). A server that leaves out what it
// was asked for, or does not know it, answers with anything: that is nobody's chart.
bool read_matches(std::string_view place, const Reply& reply, Sight& sight) {
  Document document(names());
  if (reply.body_cut || !document.parse(reply.body) ||
      document.root()->string_at("resourceType") != "Bundle") {
    return false;
  }
  const Node* list = document.root()->find("entry");
  std::size_t found = 0;
  bool asked_for = false;
  for (const Node* entry = list != nullptr ? list->first : nullptr; entry != nullptr;
       entry = entry->next) {
    const Node* search = entry->find("search");
    const Node* resource = entry->find("resource");
    const std::string_view mode = search != nullptr ? search->string_at("mode") : "match";
    if (resource == nullptr || (mode != "match" && !mode.empty()) ||
        resource->string_at("resourceType") == "OperationOutcome") {
      continue;
    }
    ++found;
    asked_for = is_asked_for(*resource, place);
    sight.resource = std::string(resource->string_at("resourceType")) + "/" +
                     std::string(resource->string_at("id"));
    sight.etag = version_of_resource(*resource);
    sight.content = json::to_text(*resource);
  }
  const std::size_t total = total_of(*document.root());
  if (found > 1 || total > 1 || has_next_page(*document.root())) {
    sight.kind = Kind::kSeveral;
  } else if (found == 0 && total == 0) {
    sight.kind = Kind::kAbsent;
  } else {
    sight.kind =
        asked_for && resource_of(sight.resource) == sight.resource ? Kind::kThere : Kind::kOther;
  }
  return sight.kind != Kind::kOther;
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
      return read_matches(place, reply, sight);
    }
    read_resource(reply, place, sight);
    return true;
  }
  if (!search && (reply.status == 404 || reply.status == 410)) {
    sight.kind = reply.status == 410 ? Kind::kGone : Kind::kAbsent;
    return true;
  }
  sight.kind = Kind::kForbidden;
  return (search && (reply.status == 404 || reply.status == 410 || reply.status == 422)) ||
         std::find(kForbidden.begin(), kForbidden.end(), reply.status) != kForbidden.end();
}

}  // namespace engine::delivery

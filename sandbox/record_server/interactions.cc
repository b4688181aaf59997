#include "sandbox/record_server/interactions.h"

#include <array>

#include "engine/base/limits.h"
#include "sandbox/record_server/query.h"
#include "sandbox/record_server/references.h"
#include "sandbox/record_server/resource_types.h"

namespace sandbox::record_server {
namespace {

using engine::json::Document;
using engine::json::Node;

struct Required {
  std::string_view type;
  std::string_view member;
};
// Cardinality 1..* of R4 elements that have no choice of type.
constexpr std::array kRequired = {
    Required{"Observation", "status"},     Required{"Observation", "code"},
    Required{"Procedure", "status"},       Required{"Procedure", "subject"},
    Required{"Provenance", "target"},      Required{"Provenance", "recorded"},
    Required{"Provenance", "agent"},       Required{"Encounter", "status"},
    Required{"Encounter", "class"},        Required{"DiagnosticReport", "status"},
    Required{"DiagnosticReport", "code"},  Required{"Goal", "lifecycleStatus"},
    Required{"Goal", "description"},       Required{"Goal", "subject"},
    Required{"ServiceRequest", "status"},  Required{"ServiceRequest", "intent"},
    Required{"ServiceRequest", "subject"}, Required{"Bundle", "type"},
};

void refuse_empty(const Node& node) {
  for (const Node& child : node) {
    const bool empty = (child.is_string() && child.length == 0) ||
                       ((child.is_array() || child.is_object()) && child.count == 0);
    const bool bare_null = child.is_null() && !node.is_array();
    if (empty || bare_null) {
      throw Refusal(400, "structure", "An element is present but has no content.",
                    expression_of(child));
    }
    refuse_empty(child);
  }
}

void check_if_match(const Record& record, std::string_view if_match) {
  if (!if_match.empty() && if_match != etag_of(record.newest())) {
    throw Refusal(412, "conflict", "If-Match names another version than the newest.");
  }
}

}  // namespace

void parse_body(Document& document, std::string_view body) {
  const auto parsed = document.parse(body);
  if (!parsed) {
    const bool limit = parsed.error().code == engine::base::ErrorCode::kLimit;
    throw Refusal(limit ? 413 : 400, limit ? "too-long" : "structure",
                  "The body is not readable as JSON: " + parsed.error().text());
  }
  if (!document.duplicates().empty()) {
    throw Refusal(400, "structure", "A member is there twice.",
                  expression_of(*document.duplicates().front()));
  }
}

void check_resource(const Node* resource, std::string_view type) {
  if (resource == nullptr || !resource->is_object() ||
      resource->string_at("resourceType").empty()) {
    throw Refusal(400, "structure", "A resource with a resourceType is needed here.",
                  resource != nullptr ? expression_of(*resource) : std::string());
  }
  const std::string_view found = resource->string_at("resourceType");
  if (!type.empty() && found != type) {
    throw Refusal(400, "invalid",
                  "The resource is of another type than the URL (" + std::string(type) + ").",
                  expression_of(*resource));
  }
  if (found != "Bundle") {  // its entries are looked at one by one
    refuse_empty(*resource);
  }
  for (const Required& required : kRequired) {
    if (required.type == found && resource->find(required.member) == nullptr) {
      throw Refusal(422, "required",
                    std::string(found) + '.' + std::string(required.member) + " is missing.",
                    expression_of(*resource));
    }
  }
}

std::string conditional_match(const Context& context, std::string_view type,
                              std::string_view query) {
  const auto matches = find_conditional(context.store, type, query, context.base_url);
  if (matches.size() > 1) {
    throw Refusal(412, "multiple-matches", "The condition has several matches on this server.");
  }
  return matches.empty() ? std::string() : matches.front()->id;
}

Written create(Context& context, std::string_view type, const Node& resource,
               std::string_view if_none_exist) {
  if (!if_none_exist.empty()) {
    if (!context.abilities.conditional_create) {
      throw Refusal(400, "not-supported", "Conditional create is not supported here.");
    }
    const std::string id = conditional_match(context, type, if_none_exist);
    if (!id.empty()) {
      return {200, context.store.find(type, id)};
    }
  }
  return {201,
          &context.store.put(type, context.store.free_id(type), resource, context.instant, "POST")};
}

Written update(Context& context, std::string_view type, std::string_view place,
               const Node& resource, std::string_view if_match) {
  const std::string_view own_id = resource.string_at("id");
  std::string id(place);
  if (place.starts_with('?')) {
    if (!context.abilities.conditional_update) {
      throw Refusal(400, "not-supported", "Conditional update is not supported here.");
    }
    id = conditional_match(context, type, place.substr(1));
    if (!id.empty() && !own_id.empty() && own_id != id) {
      throw Refusal(400, "invalid", "The resource's id is not the id of the match.");
    }
    if (id.empty() && own_id.empty()) {
      return {201, &context.store.put(type, context.store.free_id(type), resource, context.instant,
                                      "PUT")};
    }
    id = id.empty() ? std::string(own_id) : id;
  } else if (own_id != place) {
    throw Refusal(400, "invalid", "The id in the resource and in the URL must be the same.");
  }
  if (!is_id(id)) {
    throw Refusal(400, "value", "An id has 1 to 64 of A-Z, a-z, 0-9, '-' and '.'.");
  }
  const Record* there = context.store.find(type, id);
  if (there == nullptr && !context.abilities.update_create) {
    throw Refusal(405, "not-supported", "There is no such resource, and PUT creates none here.");
  }
  if (there == nullptr && !if_match.empty()) {
    throw Refusal(412, "conflict", "If-Match names a version of a resource that is not here.");
  }
  if (there != nullptr) {
    check_if_match(*there, if_match);
  }
  const bool created = there == nullptr || there->newest().deleted();
  return {created ? 201 : 200, &context.store.put(type, id, resource, context.instant, "PUT")};
}

Written erase(Context& context, std::string_view type, std::string_view place,
              std::string_view if_match) {
  std::string id(place);
  if (place.starts_with('?')) {
    if (!context.abilities.conditional_delete) {
      throw Refusal(400, "not-supported", "Conditional delete is not supported here.");
    }
    id = conditional_match(context, type, place.substr(1));
  }
  const Record* there = id.empty() ? nullptr : context.store.find(type, id);
  if (there == nullptr || there->newest().deleted()) {
    return {204, nullptr};
  }
  check_if_match(*there, if_match);
  context.store.erase(*there, context.instant);
  return {204, there};
}

std::string etag_of(const Version& version) {
  return "W/\"" + std::to_string(version.number) + '"';
}

std::string location_of(const Context& context, const Record& record, const Version& version) {
  return context.base_url + '/' + record.type + '/' + record.id + "/_history/" +
         std::to_string(version.number);
}

void describe(const Context& context, const Record& record, const Version& version,
              bool with_location, Response& response) {
  response.headers.emplace_back("ETag", etag_of(version));
  if (const auto at = parse_date_range(version.updated)) {
    response.headers.emplace_back("Last-Modified", to_http_date(at->low));
  }
  if (with_location) {
    response.headers.emplace_back("Location", location_of(context, record, version));
  }
}

}  // namespace sandbox::record_server

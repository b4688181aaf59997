#pragma once
// The writing interactions on one resource (FHIR R4 http: create, update, delete and their
// conditional forms). They write into the store's open unit of work; the caller commits. All throw
// Refusal.

#include <string>
#include <string_view>

#include "engine/json/document.h"
#include "sandbox/record_server/context.h"
#include "sandbox/record_server/message.h"

namespace sandbox::record_server {

struct Written {
  int status = 200;                // 201 created, 200 updated or already there, 204 deleted
  const Record* record = nullptr;  // nullptr when there was nothing to delete
};

// Refuses what is no JSON object of the given type (any type when empty), has empty elements, or
// lacks elements that its type cannot do without.
void check_resource(const engine::json::Node* resource, std::string_view type);
// Parses a body into a document; 400 with line and column, 413 when over a limit.
void parse_body(engine::json::Document& document, std::string_view body);

Written create(Context& context, std::string_view type, const engine::json::Node& resource,
               std::string_view if_none_exist);
// `place` is "Type/id"'s id, or "?query" for a conditional update.
Written update(Context& context, std::string_view type, std::string_view place,
               const engine::json::Node& resource, std::string_view if_match);
Written erase(Context& context, std::string_view type, std::string_view place,
              std::string_view if_match);
// Where a conditional create, update or delete will land, before anything is written: the id, or
// empty for none.
std::string conditional_match(const Context& context, std::string_view type,
                              std::string_view query);

// Headers of an answer about a version: ETag, Last-Modified, and for a write Location.
void describe(const Context& context, const Record& record, const Version& version,
              bool with_location, Response& response);
std::string etag_of(const Version& version);
std::string location_of(const Context& context, const Record& record, const Version& version);

}  // namespace sandbox::record_server

#pragma once
// What a record server calls a resource.

#include <string>
#include <string_view>

namespace engine::delivery {

// "Observation/17" of "Observation/17/_history/3" or of an absolute URL that ends so; "" when the
// text names no resource. At most 64 letters, the slash, and an id.
std::string resource_of(std::string_view location);

// W/"3" of ".../_history/3"; "" when the location names no version.
std::string version_of(std::string_view location);

// What is kept of a location: the resource, and "/_history/3" when it names a version. "" when it
// names no resource, as if the server had not said it: whatever else stands there may be anything.
std::string place_of(std::string_view location);

// "Observation" of "Observation", "Observation/17" and "Observation?identifier=...".
std::string_view type_of(std::string_view url);

// The text when it is an entity-tag (RFC 9110 section 8.8.3) of at most
// limits::kEntityTagBytesMax; otherwise "", as if the server named no version. What comes back in
// a header of ours must not end that header.
std::string entity_tag_of(std::string_view text);
// A part of a record in which an engine of before wrote down a tag with bytes above 7F, so that it
// is no JSON: with '?' for each of them, which is no version that a server has.
std::string without_odd_bytes(std::string_view part);

// Whether the text is an id as R4 has it: at most 64 letters, digits, '-' and '.'.
bool is_id(std::string_view text);

}  // namespace engine::delivery

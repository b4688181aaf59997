#pragma once
// What a record server calls a resource.

#include <string>
#include <string_view>

namespace engine::delivery {

// "Observation/17" of "Observation/17/_history/3" or of an absolute URL that ends so; "" when the
// text names no resource.
std::string resource_of(std::string_view location);

// W/"3" of ".../_history/3"; "" when the location names no version.
std::string version_of(std::string_view location);

}  // namespace engine::delivery

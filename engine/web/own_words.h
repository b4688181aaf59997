#pragma once
// What an HTTP server says of its own.

#include <string>
#include <string_view>

namespace engine::web {

// Now, as the Date header has it.
std::string http_date();
// Why it refuses a request with this status.
std::string_view text_of(int status);

}  // namespace engine::web

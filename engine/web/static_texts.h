#pragma once
// Texts that the engine serves as they are: /openapi.json, /metadata.

#include <string_view>

namespace engine::web {

struct StaticText {
  std::string_view path;
  std::string_view content_type;
  std::string_view text;
};
// nullptr when there is none at this path.
const StaticText* static_text(std::string_view path);

std::string_view openapi_text();

}  // namespace engine::web

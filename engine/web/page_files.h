#pragma once
// The pages that came with the program: what the build makes of engine/web/pages. The bytes live as
// long as the program.

#include <span>
#include <string_view>

namespace engine::web {

struct PageFile {
  std::string_view path;  // "" for the page itself, "page.js", ...
  std::string_view content_type;
  std::string_view bytes;
  std::string_view gzip;  // the same, RFC 1952; empty where that gains nothing
};

std::span<const PageFile> page_files();
// nullptr when there is none at this path.
const PageFile* page_file(std::string_view path);

}  // namespace engine::web

#include "engine/web/page_files.h"

#include <algorithm>
#include <cstddef>
#include <utility>
#include <vector>

// Made by CMakeLists.txt of this folder.
extern "C" {
struct ChartferryPageFile {
  const char* name;
  const char* begin;
  const char* end;
};
extern const ChartferryPageFile chartferry_pages[];
extern const std::size_t chartferry_pages_count;
}

namespace engine::web {
namespace {

constexpr std::string_view kGzip = ".gz";
constexpr std::string_view kPage = ".html";

std::string_view type_of(std::string_view name) {
  constexpr std::pair<std::string_view, std::string_view> kTypes[] = {
      {".html", "text/html; charset=utf-8"},
      {".js", "text/javascript; charset=utf-8"},
      {".css", "text/css; charset=utf-8"},
      {".svg", "image/svg+xml"},
      {".webmanifest", "application/manifest+json"}};
  for (const auto& [ending, type] : kTypes) {
    if (name.ends_with(ending)) {
      return type;
    }
  }
  return "application/octet-stream";
}

std::vector<PageFile> read_table() {
  std::vector<PageFile> files;
  std::vector<PageFile> packed;
  for (std::size_t i = 0; i < chartferry_pages_count; ++i) {
    const ChartferryPageFile& one = chartferry_pages[i];
    const std::string_view bytes(one.begin, static_cast<std::size_t>(one.end - one.begin));
    std::string_view name = one.name;
    if (name.ends_with(kGzip)) {
      name.remove_suffix(kGzip.size());
      packed.push_back({name, {}, {}, bytes});
    } else {
      files.push_back({name, type_of(name), bytes, {}});
    }
  }
  for (PageFile& file : files) {
    for (const PageFile& one : packed) {
      file.gzip = one.path == file.path ? one.gzip : file.gzip;
    }
    if (file.path == "index.html") {
      file.path = {};
    } else if (file.path.ends_with(kPage)) {
      file.path.remove_suffix(kPage.size());
    }
  }
  return files;
}

}  // namespace

std::span<const PageFile> page_files() {
  static const std::vector<PageFile> files = read_table();
  return files;
}

const PageFile* page_file(std::string_view path) {
  const auto files = page_files();
  const auto found = std::find_if(files.begin(), files.end(),
                                  [&](const PageFile& file) { return file.path == path; });
  return found == files.end() ? nullptr : &*found;
}

}  // namespace engine::web

#include "engine/cli/embedded.h"

#include <algorithm>
#include <string>
#include <vector>

// Made by CMakeLists.txt of this folder, from the files of profiles/ and mappings/.
extern "C" {
struct ChartferryEmbeddedFile {
  const char* name;
  const char* begin;
  const char* end;
};
extern const ChartferryEmbeddedFile chartferry_embedded_profiles[];
extern const std::size_t chartferry_embedded_profiles_count;
extern const ChartferryEmbeddedFile chartferry_embedded_mappings[];
extern const std::size_t chartferry_embedded_mappings_count;
}

namespace engine::cli {
namespace {

std::vector<base::SourceView> views(const ChartferryEmbeddedFile* files, std::size_t count) {
  std::vector<base::SourceView> result;
  for (std::size_t i = 0; i < count; ++i) {
    result.push_back(
        {files[i].name, {files[i].begin, static_cast<std::size_t>(files[i].end - files[i].begin)}});
  }
  std::sort(result.begin(), result.end(),
            [](const auto& a, const auto& b) { return a.name < b.name; });
  return result;
}

}  // namespace

std::span<const base::SourceView> embedded_profiles() {
  static const std::vector<base::SourceView> files =
      views(chartferry_embedded_profiles, chartferry_embedded_profiles_count);
  return files;
}

std::span<const base::SourceView> embedded_profiles(std::string_view folder) {
  const std::string prefix = std::string(folder) + "/";
  const auto files = embedded_profiles();
  const auto begins = [&](const base::SourceView& file) { return file.name.starts_with(prefix); };
  const auto first = std::find_if(files.begin(), files.end(), begins);
  const auto last = std::find_if_not(first, files.end(), begins);
  return {first, last};
}

std::span<const base::SourceView> embedded_mappings() {
  static const std::vector<base::SourceView> files =
      views(chartferry_embedded_mappings, chartferry_embedded_mappings_count);
  return files;
}

}  // namespace engine::cli

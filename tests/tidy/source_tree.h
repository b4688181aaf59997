#pragma once
// The repository's own files, as text, for the tests that hold its style.

#include <string>
#include <string_view>
#include <vector>

namespace tidy {

struct SourceFile {
  std::string path;  // from the top, '/' as separator
  std::vector<std::string> lines;
};

// Files under the given folders whose name ends with one of the endings, sorted by path.
std::vector<SourceFile> read_tree(const std::vector<std::string>& folders,
                                  const std::vector<std::string>& endings);
// "engine/json/node.h" -> "json"; empty outside engine/.
std::string engine_folder(std::string_view path);
// The text between quotation marks or angle brackets of an #include line; empty for other lines.
std::string included(std::string_view line);

}  // namespace tidy

#include "tests/tidy/source_tree.h"

#include <algorithm>
#include <filesystem>
#include <fstream>

namespace tidy {

std::vector<SourceFile> read_tree(const std::vector<std::string>& folders,
                                  const std::vector<std::string>& endings) {
  std::vector<SourceFile> files;
  for (const std::string& folder : folders) {
    for (const auto& entry : std::filesystem::recursive_directory_iterator(folder)) {
      const std::string path = entry.path().generic_string();
      const bool wanted =
          entry.is_regular_file() && path.find("/node_modules/") == std::string::npos &&
          std::any_of(endings.begin(), endings.end(),
                      [&](const std::string& ending) { return path.ends_with(ending); });
      if (!wanted) {
        continue;
      }
      SourceFile file{path, {}};
      std::ifstream in(path, std::ios::binary);
      for (std::string line; std::getline(in, line);) {
        file.lines.push_back(std::move(line));
      }
      files.push_back(std::move(file));
    }
  }
  std::sort(files.begin(), files.end(),
            [](const SourceFile& a, const SourceFile& b) { return a.path < b.path; });
  return files;
}

std::string engine_folder(std::string_view path) {
  if (!path.starts_with("engine/")) {
    return {};
  }
  path.remove_prefix(7);
  const std::size_t slash = path.find('/');
  return slash == std::string_view::npos ? std::string() : std::string(path.substr(0, slash));
}

std::string included(std::string_view line) {
  if (!line.starts_with("#include ")) {
    return {};
  }
  const std::size_t open = line.find_first_of("<\"");
  const std::size_t close = line.find_first_of(">\"", open + 1);
  return open == std::string_view::npos || close == std::string_view::npos
             ? std::string()
             : std::string(line.substr(open + 1, close - open - 1));
}

}  // namespace tidy

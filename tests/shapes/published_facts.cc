#include "tests/shapes/published_facts.h"

#include <cstdio>
#include <filesystem>

#include "engine/base/check.h"

namespace engine::shapes {

std::string file_bytes(const std::string& path) {
  std::string bytes;
  if (std::FILE* file = std::fopen(path.c_str(), "rb")) {
    char block[64 * 1024];
    while (const std::size_t read = std::fread(block, 1, sizeof(block), file)) {
      bytes.append(block, read);
    }
    std::fclose(file);
  }
  return bytes;
}

std::vector<base::SourceFile> fact_files(const std::string& folder) {
  std::vector<base::SourceFile> files;
  for (const auto& entry : std::filesystem::directory_iterator("profiles/" + folder)) {
    if (entry.path().extension() == ".facts") {
      files.push_back(
          {folder + "/" + entry.path().filename().string(), file_bytes(entry.path().string())});
    }
  }
  return files;
}

std::unique_ptr<Catalog> new_r4() {
  base::Result<std::unique_ptr<Catalog>> catalog = Catalog::load(fact_files("r4"));
  if (!catalog) {
    std::fprintf(stderr, "%s\n", catalog.error().text().c_str());
  }
  ENGINE_CHECK(catalog.has_value());
  return std::move(*catalog);
}

const Catalog& r4() {
  static const std::unique_ptr<Catalog> catalog = new_r4();
  return *catalog;
}

}  // namespace engine::shapes

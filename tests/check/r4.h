#pragma once
// The published shapes of R4 and a checker over them, loaded once for all tests of a program.

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <memory>
#include <sstream>
#include <string>
#include <vector>

#include "engine/base/seams.h"
#include "engine/check/check.h"
#include "engine/shapes/catalog.h"

namespace testing_r4 {

inline std::vector<engine::base::SourceFile> facts() {
  std::vector<engine::base::SourceFile> files;
  for (const auto& each : std::filesystem::directory_iterator("profiles/r4")) {
    std::ifstream file(each.path());
    std::stringstream text;
    text << file.rdbuf();
    files.push_back({"r4/" + each.path().filename().string(), text.str()});
  }
  return files;
}

// Not frozen: for tests that add definitions of their own.
inline std::unique_ptr<engine::shapes::Catalog> fresh_catalog() {
  const std::vector<engine::base::SourceFile> files = facts();
  auto loaded = engine::shapes::Catalog::load(files);
  if (!loaded) {
    std::abort();
  }
  return std::move(*loaded);
}

inline const engine::shapes::Catalog& catalog() {
  static const std::unique_ptr<engine::shapes::Catalog> kept = [] {
    auto made = fresh_catalog();
    made->freeze();
    return made;
  }();
  return *kept;
}

inline const engine::check::Checker& checker() {
  static const engine::check::Checker kept(catalog());
  return kept;
}

}  // namespace testing_r4

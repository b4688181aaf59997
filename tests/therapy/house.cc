#include "tests/therapy/house.h"

#include <filesystem>
#include <fstream>
#include <sstream>

#include <gtest/gtest.h>

namespace engine::therapy::testing {

std::string read_text(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::stringstream bytes;
  bytes << in.rdbuf();
  return bytes.str();
}

namespace {

void take_folder(const std::string& root, const std::string& folder,
                 std::vector<base::SourceFile>& files) {
  const std::filesystem::path top = std::filesystem::path(root) / folder;
  for (const auto& file : std::filesystem::recursive_directory_iterator(top)) {
    const std::string name = file.path().lexically_relative(root).generic_string();
    const bool wanted = name.rfind("samples/", 0) != 0 && name.rfind("us-core/", 0) != 0;
    if (file.is_regular_file() && wanted) {
      files.push_back({name, read_text(file.path().string())});
    }
  }
}

}  // namespace

Sources house_sources() {
  Sources sources;
  take_folder("mappings", "", sources.mappings);
  for (const char* folder : {"r4", "session", "therapy"}) {
    take_folder("profiles", folder, sources.profiles);
  }
  return sources;
}

const Translator& house() {
  static const std::unique_ptr<Translator> translator = [] {
    auto loaded = Translator::load(house_sources());
    if (!loaded) {
      ADD_FAILURE() << loaded.error().text();
      std::abort();
    }
    return std::move(*loaded);
  }();
  return *translator;
}

std::string sample(std::string_view name) {
  return read_text("mappings/samples/" + std::string(name) + ".session.json");
}

std::string replaced(std::string text, std::string_view from, std::string_view to) {
  const std::size_t at = text.find(from);
  if (at == std::string::npos) {
    ADD_FAILURE() << "the text has no " << from;
    return text;
  }
  return text.replace(at, from.size(), to);
}

Translation translate_one(const std::string& body, const std::string& accepted_at) {
  const Revision revision{body, accepted_at};
  return house().translate({&revision, 1});
}

}  // namespace engine::therapy::testing

#include "engine/cli/translator_files.h"

#include <algorithm>
#include <span>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/cli/embedded.h"
#include "engine/cli/files.h"
#include "engine/cli/read_file.h"

namespace engine::cli {
namespace {

base::Result<std::vector<base::SourceFile>> overlay(std::span<const base::SourceView> own,
                                                    const std::string& folder) {
  std::vector<base::SourceFile> files;
  for (const base::SourceView& file : own) {
    files.push_back({std::string(file.name), std::string(file.bytes)});
  }
  if (!folder.empty()) {
    auto site = read_folder(folder, base::limits::kCheckedBytesMax);
    if (!site) {
      return std::move(site).error();
    }
    for (base::SourceFile& file : *site) {
      const auto same = std::find_if(files.begin(), files.end(),
                                     [&](const auto& one) { return one.name == file.name; });
      if (same != files.end()) {
        same->bytes = std::move(file.bytes);
      } else {
        files.push_back(std::move(file));
      }
    }
  }
  // Samples and the overlays of other places are no part of the set in force.
  std::erase_if(files, [](const base::SourceFile& file) {
    return file.name.starts_with("samples/") || file.name.starts_with("us-core/");
  });
  return files;
}

}  // namespace

base::Result<std::unique_ptr<therapy::Translator>> load_translator(const TranslatorFiles& files) {
  therapy::Sources sources;
  auto mappings = overlay(embedded_mappings(), files.mappings);
  if (!mappings) {
    return std::move(mappings).error();
  }
  auto profiles = overlay(embedded_profiles(), files.profiles);
  if (!profiles) {
    return std::move(profiles).error();
  }
  sources.mappings = std::move(*mappings);
  sources.profiles = std::move(*profiles);
  if (!files.settings.empty()) {
    auto settings = read_file(files.settings);
    if (!settings) {
      return std::move(settings).error();
    }
    sources.settings = std::move(*settings);
  }
  return therapy::Translator::load(std::move(sources));
}

}  // namespace engine::cli

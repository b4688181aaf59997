#include "engine/cli/translator_files.h"

#include <algorithm>
#include <filesystem>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/cli/embedded.h"
#include "engine/cli/files.h"
#include "engine/cli/read_file.h"

namespace engine::cli {
namespace {

constexpr std::string_view kSamples = "samples/";
constexpr std::string_view kNewest = "9.0.0";
constexpr std::string_view kVersions[] = {"9.0.0", "3.1.0"};

void lay_over(std::vector<base::SourceFile>& files, base::SourceFile file) {
  const auto same = std::find_if(files.begin(), files.end(),
                                 [&](const auto& one) { return one.name == file.name; });
  if (same != files.end()) {
    same->bytes = std::move(file.bytes);
  } else {
    files.push_back(std::move(file));
  }
}

base::Result<void> lay_folder_over(std::vector<base::SourceFile>& files,
                                   const std::string& folder) {
  if (folder.empty()) {
    return {};
  }
  auto site = read_folder(folder, base::limits::kCheckedBytesMax);
  if (!site) {
    return std::move(site).error();
  }
  for (base::SourceFile& file : *site) {
    if (!file.name.starts_with(kSamples) && !file.name.starts_with(kNationalFolder)) {
      lay_over(files, std::move(file));
    }
  }
  return {};
}

// The version of the national overlay that is asked for; empty for none.
base::Result<std::string> version_of(const std::string& overlay) {
  if (overlay.empty() || overlay == "us-core") {
    return std::string(overlay.empty() ? std::string_view() : kNewest);
  }
  for (const std::string_view version : kVersions) {
    if (overlay == std::string(kNationalFolder) + std::string(version)) {
      return std::string(version);
    }
  }
  return base::Error(base::ErrorCode::kNotFound,
                     "there is no overlay of this name; there are us-core, us-core/9.0.0 and "
                     "us-core/3.1.0",
                     overlay);
}

// Ours, then those of the overlay for all versions, then those of its version.
std::vector<base::SourceFile> own_mappings(const std::string& version) {
  std::vector<base::SourceFile> files;
  const std::string of_version = std::string(kNationalFolder) + version + "/";
  for (const base::SourceView& file : embedded_mappings()) {
    if (!file.name.starts_with(kSamples) && !file.name.starts_with(kNationalFolder)) {
      files.push_back({std::string(file.name), std::string(file.bytes)});
    }
  }
  for (const std::string& prefix : {std::string(kNationalFolder), of_version}) {
    for (const base::SourceView& file : embedded_mappings()) {
      const std::string_view name = file.name;
      if (!version.empty() && name.starts_with(prefix) &&
          name.find('/', prefix.size()) == std::string_view::npos) {
        lay_over(files, {std::string(name.substr(prefix.size())), std::string(file.bytes)});
      }
    }
  }
  return files;
}

std::vector<base::SourceFile> own_profiles(const std::string& version) {
  std::vector<base::SourceFile> files;
  const std::string of_version = std::string(kNationalFolder) + version + "/";
  for (const base::SourceView& file : embedded_profiles()) {
    const std::string_view name = file.name;
    if (!name.starts_with(kNationalFolder) || (!version.empty() && name.starts_with(of_version))) {
      files.push_back({std::string(name), std::string(file.bytes)});
    }
  }
  return files;
}

}  // namespace

base::Result<TranslatorFiles> site_files(const std::string& directory) {
  namespace fs = std::filesystem;
  const fs::path site(directory);
  std::error_code ignored;
  TranslatorFiles files;
  if (fs::is_directory(site / "mappings", ignored)) {
    files.mappings = site / "mappings";
  }
  if (fs::is_directory(site / "profiles", ignored)) {
    files.profiles = site / "profiles";
  }
  if (fs::is_regular_file(site / "settings.json", ignored)) {
    files.settings = site / "settings.json";
  }
  if (files.mappings.empty() && files.profiles.empty() && files.settings.empty()) {
    return base::Error(base::ErrorCode::kNotFound,
                       "a site's directory has mappings/, profiles/ or settings.json, and none of "
                       "them is here",
                       directory);
  }
  return files;
}

base::Result<TranslatorFiles> with_site(TranslatorFiles files) {
  if (files.site.empty()) {
    return files;
  }
  base::Result<TranslatorFiles> of_site = site_files(files.site);
  if (!of_site) {
    return of_site;
  }
  files.site.clear();
  return laid_over(std::move(files), *of_site);
}

TranslatorFiles laid_over(TranslatorFiles own, const TranslatorFiles& common) {
  for (const auto member : {&TranslatorFiles::overlay, &TranslatorFiles::mappings,
                            &TranslatorFiles::profiles, &TranslatorFiles::settings}) {
    if ((own.*member).empty()) {
      own.*member = common.*member;
    }
  }
  return own;
}

base::Result<therapy::Sources> read_sources(const TranslatorFiles& wanted) {
  therapy::Sources sources;
  const base::Result<TranslatorFiles> whole = with_site(wanted);
  if (!whole) {
    return whole.error();
  }
  const TranslatorFiles& files = *whole;
  const base::Result<std::string> version = version_of(files.overlay);
  if (!version) {
    return version.error();
  }
  sources.mappings = own_mappings(*version);
  sources.profiles = own_profiles(*version);
  if (auto laid = lay_folder_over(sources.mappings, files.mappings); !laid) {
    return laid.error();
  }
  if (auto laid = lay_folder_over(sources.profiles, files.profiles); !laid) {
    return laid.error();
  }
  if (!files.settings.empty()) {
    auto settings = read_file(files.settings);
    if (!settings) {
      return std::move(settings).error();
    }
    sources.settings = std::move(*settings);
  }
  return sources;
}

base::Result<std::unique_ptr<therapy::Translator>> load_translator(const TranslatorFiles& files) {
  base::Result<therapy::Sources> sources = read_sources(files);
  if (!sources) {
    return std::move(sources).error();
  }
  return therapy::Translator::load(std::move(*sources));
}

}  // namespace engine::cli

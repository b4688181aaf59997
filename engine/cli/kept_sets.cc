#include "engine/cli/kept_sets.h"

#include <filesystem>
#include <utility>
#include <vector>

#include "engine/base/hash.h"
#include "engine/base/limits.h"
#include "engine/cli/files.h"
#include "engine/cli/read_file.h"

namespace engine::cli {
namespace {

namespace fs = std::filesystem;
using base::Error;
using base::ErrorCode;
using base::Result;

// Of a word in "mapping=abc profiles=def".
std::string value_of(std::string_view text, std::string_view name) {
  const std::string key = std::string(name) + "=";
  const std::size_t at = text.find(key);
  if (at == std::string_view::npos) {
    return {};
  }
  const std::string_view rest = text.substr(at + key.size());
  return std::string(rest.substr(0, rest.find(' ')));
}

// A folder under its final name holds everything: it is written under another one and renamed.
Result<void> keep_folder(const std::string& path, const std::vector<base::SourceFile>& files) {
  std::error_code problem;
  if (fs::exists(path, problem)) {
    return {};
  }
  const std::string unfinished = path + ".part";
  fs::remove_all(unfinished, problem);
  for (const base::SourceFile& file : files) {
    if (Result<void> written = write_private_file(unfinished + "/" + file.name, file.bytes);
        !written) {
      return written;
    }
  }
  if (auto made = make_private_folder(unfinished); !made) {
    return made;
  }
  fs::rename(unfinished, path, problem);
  if (problem) {
    return Error(ErrorCode::kIo, "the folder cannot be written", path);
  }
  return {};
}

Result<std::vector<base::SourceFile>> load_folder(const std::string& path) {
  std::error_code problem;
  if (!fs::is_directory(path, problem)) {
    return Error(ErrorCode::kNotFound, "this set is not kept here", path);
  }
  return read_folder(path, base::limits::kCheckedBytesMax);
}

}  // namespace

std::string SetIds::name() const {
  constexpr std::size_t kNameLength = 12;
  return base::sha256_hex(mapping + " " + profiles + " " + settings).substr(0, kNameLength);
}

SetIds ids_of(const therapy::Provenance& provenance) {
  return {provenance.mapping_set, provenance.profile_set, provenance.settings_set};
}

SetIds ids_of(std::string_view made_with) {
  return {value_of(made_with, "mapping"), value_of(made_with, "profiles"),
          value_of(made_with, "settings")};
}

Result<void> KeptSets::keep(const therapy::Sources& sources, const SetIds& ids) const {
  if (Result<void> kept = keep_folder(folder_ + "/mapping-" + ids.mapping, sources.mappings);
      !kept) {
    return kept;
  }
  if (Result<void> kept = keep_folder(folder_ + "/profiles-" + ids.profiles, sources.profiles);
      !kept) {
    return kept;
  }
  std::error_code problem;
  const std::string settings = folder_ + "/settings-" + ids.settings + ".json";
  return fs::exists(settings, problem) ? Result<void>()
                                       : write_private_file(settings, sources.settings);
}

Result<therapy::Sources> KeptSets::read(const SetIds& ids) const {
  for (const std::string* id : {&ids.mapping, &ids.profiles, &ids.settings}) {
    if (id->empty() || id->find_first_not_of("0123456789abcdef") != std::string::npos) {
      return Error(ErrorCode::kNotFound, "this is no name of a set", *id);
    }
  }
  therapy::Sources sources;
  auto mappings = load_folder(folder_ + "/mapping-" + ids.mapping);
  if (!mappings) {
    return std::move(mappings).error();
  }
  auto profiles = load_folder(folder_ + "/profiles-" + ids.profiles);
  if (!profiles) {
    return std::move(profiles).error();
  }
  auto settings = read_file(folder_ + "/settings-" + ids.settings + ".json");
  if (!settings) {
    return std::move(settings).error();
  }
  sources.mappings = std::move(*mappings);
  sources.profiles = std::move(*profiles);
  sources.settings = std::move(*settings);
  return sources;
}

Result<std::unique_ptr<therapy::Translator>> KeptSets::load(const SetIds& ids) const {
  Result<therapy::Sources> sources = read(ids);
  if (!sources) {
    return std::move(sources).error();
  }
  return make(std::move(*sources), ids);
}

Result<std::unique_ptr<therapy::Translator>> KeptSets::make(therapy::Sources sources,
                                                            const SetIds& ids) {
  auto translator = therapy::Translator::load(std::move(sources));
  if (translator && !(ids_of((*translator)->provenance()) == ids)) {
    return Error(ErrorCode::kCorrupt, "the files of this kept set are not those it was named after",
                 ids.name());
  }
  return translator;
}

}  // namespace engine::cli

#include "engine/cli/map_work.h"

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <iterator>
#include <optional>
#include <utility>

#include "engine/base/limits.h"
#include "engine/cli/commands.h"
#include "engine/cli/embedded.h"
#include "engine/cli/files.h"
#include "engine/cli/map_samples.h"
#include "engine/cli/translator_files.h"

namespace engine::cli {

using base::Error;
using base::ErrorCode;
using base::Result;
using base::SourceFile;

int complain(const Error& error) {
  std::fprintf(stderr, "%s%s%s\n", error.where.c_str(), error.where.empty() ? "" : ": ",
               error.detail.c_str());
  return kUsage;
}

namespace {

Result<void> add_further(const std::vector<std::string>& paths, std::vector<SourceFile>& files) {
  for (const std::string& path : paths) {
    Result<std::vector<SourceFile>> more = read_maps(path);
    if (!more) {
      return std::move(more).error();
    }
    std::move(more->begin(), more->end(), std::back_inserter(files));
  }
  return {};
}

void take_samples(const std::vector<SourceFile>& files, const std::string& expected_below,
                  std::vector<MapSample>& samples) {
  for (const SourceFile& file : files) {
    if (!is_sample(file.name)) {
      continue;
    }
    const auto same = std::find_if(samples.begin(), samples.end(), [&](const MapSample& one) {
      return one.file.name == file.name;
    });
    MapSample sample{file, expected_below};
    if (same != samples.end()) {
      *same = std::move(sample);
    } else {
      samples.push_back(std::move(sample));
    }
  }
}

// Whether an import, a table or a structure was not found.
bool misses_something(const std::vector<Error>& problems) {
  return std::any_of(problems.begin(), problems.end(),
                     [](const Error& problem) { return problem.code == ErrorCode::kNotFound; });
}

std::unique_ptr<MapWork> finished(therapy::Sources sources, std::vector<MapSample> samples,
                                  Result<MapBench> bench, const std::vector<Error>& problems) {
  if (!bench) {
    for (const Error& problem : problems) {
      complain(problem);
    }
    if (problems.empty()) {
      complain(bench.error());
    }
    return nullptr;
  }
  return std::make_unique<MapWork>(
      MapWork{std::move(sources), std::move(samples), std::move(*bench)});
}

std::unique_ptr<MapWork> open_folder(const MapPlace& place) {
  Result<std::vector<SourceFile>> files = read_maps(place.path);
  Result<std::unique_ptr<shapes::Catalog>> loaded = load_map_catalog(place.packages);
  Result<therapy::Sources> sources = read_sources({});
  if (!files || !loaded || !sources) {
    complain(!files ? files.error() : !loaded ? loaded.error() : sources.error());
    return nullptr;
  }
  if (Result<void> added = add_further(place.with, *files); !added) {
    complain(added.error());
    return nullptr;
  }
  const std::shared_ptr<const shapes::Catalog> catalog = std::move(*loaded);
  std::vector<Error> problems;
  Result<MapBench> bench = MapBench::open(catalog, *files, {}, &problems);
  const std::filesystem::path path(place.path);
  std::error_code ignored;
  if (!bench && misses_something(problems) && std::filesystem::is_regular_file(path, ignored)) {
    const std::string folder = path.has_parent_path() ? path.parent_path().string() : ".";
    if (Result<std::vector<SourceFile>> all = read_maps(folder)) {
      *files = std::move(*all);
      problems.clear();
      bench = MapBench::open(catalog, *files, {}, &problems);
    }
  }
  std::vector<MapSample> samples;
  take_samples(*files, place.path, samples);
  sources->mappings = std::move(*files);
  return finished(std::move(*sources), std::move(samples), std::move(bench), problems);
}

std::unique_ptr<MapWork> open_site(const MapPlace& place) {
  Result<TranslatorFiles> files = site_files(place.site);
  if (!files) {
    complain(files.error());
    return nullptr;
  }
  files->overlay = place.overlay;
  Result<therapy::Sources> sources = read_sources(*files);
  if (!sources) {
    complain(sources.error());
    return nullptr;
  }
  std::vector<SourceFile> ours;
  for (const base::SourceView& file : embedded_mappings()) {
    ours.push_back({std::string(file.name), std::string(file.bytes)});
  }
  std::vector<MapSample> samples;
  take_samples(ours, {}, samples);
  Result<std::vector<SourceFile>> own =
      files->mappings.empty() ? std::vector<SourceFile>()
                              : read_folder(files->mappings, base::limits::kCheckedBytesMax);
  Result<void> added = add_further(place.with, sources->mappings);
  Result<std::unique_ptr<shapes::Catalog>> loaded =
      load_site_catalog(sources->profiles, place.packages);
  Result<therapy::Settings> settings = therapy::parse_settings(sources->settings);
  if (!own || !added || !loaded || !settings) {
    complain(!own      ? own.error()
             : !added  ? added.error()
             : !loaded ? loaded.error()
                       : settings.error());
    return nullptr;
  }
  take_samples(*own, files->mappings, samples);
  std::vector<Error> problems;
  Result<MapBench> bench =
      MapBench::open(std::move(*loaded), sources->mappings, *settings, &problems);
  return finished(std::move(*sources), std::move(samples), std::move(bench), problems);
}

}  // namespace

std::unique_ptr<MapWork> open_maps(const MapPlace& place) {
  if (place.site.empty() == place.path.empty()) {
    complain(
        Error(ErrorCode::kInvalid, "name a folder of maps or, with --site, a site's directory"));
    return nullptr;
  }
  if (place.site.empty() && !place.overlay.empty()) {
    complain(Error(ErrorCode::kInvalid, "--overlay goes with --site: a folder is taken as it is"));
    return nullptr;
  }
  return place.site.empty() ? open_folder(place) : open_site(place);
}

}  // namespace engine::cli

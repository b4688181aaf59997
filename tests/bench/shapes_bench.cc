// How long the facts of R4 take to load and what they hold in memory. Run from the top of the
// source tree: build/tests/bench/shapes_bench
// links: engine_shapes engine_fhir engine_json engine_base

#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <span>
#include <string>
#include <system_error>
#include <vector>

#include <benchmark/benchmark.h>

#include "engine/shapes/catalog.h"

namespace {

using engine::base::SourceFile;
using engine::base::SourceView;
using engine::shapes::Catalog;

const std::vector<SourceFile>& files() {
  static const std::vector<SourceFile> all = [] {
    std::vector<SourceFile> read;
    std::error_code missing;
    for (const auto& entry : std::filesystem::directory_iterator("profiles/r4", missing)) {
      std::ifstream file(entry.path(), std::ios::binary);
      read.push_back({entry.path().filename().string(),
                      {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()}});
    }
    return read;
  }();
  return all;
}

std::vector<SourceView> views() {
  std::vector<SourceView> all;
  for (const SourceFile& file : files()) {
    all.push_back({file.name, file.bytes});
  }
  return all;
}

// Kilobytes of this process: "VmRSS" now, "VmHWM" at most so far.
double memory_kb(const char* which) {
  double kilobytes = 0;
  if (std::FILE* status = std::fopen("/proc/self/status", "r")) {
    char line[256];
    while (std::fgets(line, sizeof(line), status) != nullptr) {
      if (std::strncmp(line, which, std::strlen(which)) == 0) {
        kilobytes = std::strtod(line + std::strlen(which) + 1, nullptr);
      }
    }
    std::fclose(status);
  }
  return kilobytes;
}

void load_r4(benchmark::State& state) {
  const std::vector<SourceView> all = views();
  if (all.empty()) {
    state.SkipWithError("run from the top of the source tree: profiles/r4 is not here");
    return;
  }
  std::size_t bytes = 0;
  for (auto _ : state) {
    auto catalog = Catalog::load(std::span<const SourceView>(all));
    if (!catalog) {
      state.SkipWithError("the facts of profiles/r4 do not load");
      return;
    }
    bytes = (*catalog)->bytes();
    benchmark::DoNotOptimize(catalog);
  }
  state.counters["tables_MB"] = static_cast<double>(bytes) / 1e6;
  state.counters["process_peak_MB"] = memory_kb("VmHWM") / 1e3;
}
BENCHMARK(load_r4)->Unit(benchmark::kMillisecond);

void look_up_a_profile(benchmark::State& state) {
  const std::vector<SourceView> all = views();
  const auto catalog = Catalog::load(std::span<const SourceView>(all));
  constexpr const char* kUrl = "http://hl7.org/fhir/StructureDefinition/oxygensat";
  if (!catalog || (*catalog)->find_shape(kUrl) == nullptr) {
    state.SkipWithError("the profile is not here: run from the top of the source tree");
    return;
  }
  for (auto _ : state) {
    benchmark::DoNotOptimize((*catalog)->find_shape(kUrl));
  }
}
BENCHMARK(look_up_a_profile);

}  // namespace

BENCHMARK_MAIN();

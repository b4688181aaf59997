// One session of twenty entries of mixed kinds: the whole pure function (read, findings, maps with
// lineage, changes, check, write) beside its floor, the bare cost of parsing the document and of
// writing and parsing the Bundle. The counter "ratio" is ours over the floor.

#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <memory>
#include <sstream>
#include <string>

#include <benchmark/benchmark.h>

#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/therapy/translate.h"

namespace engine::therapy {
namespace {

std::string read_text(const std::filesystem::path& path) {
  std::ifstream in(path, std::ios::binary);
  std::stringstream bytes;
  bytes << in.rdbuf();
  return bytes.str();
}

void take_folder(const std::string& root, const std::string& folder,
                 std::vector<base::SourceFile>& files) {
  for (const auto& file :
       std::filesystem::recursive_directory_iterator(std::filesystem::path(root) / folder)) {
    const std::string name = file.path().lexically_relative(root).generic_string();
    if (file.is_regular_file() && name.rfind("samples/", 0) != 0 &&
        name.rfind("us-core/", 0) != 0) {
      files.push_back({name, read_text(file.path())});
    }
  }
}

const Translator& translator() {
  static const std::unique_ptr<Translator> made = [] {
    Sources sources;
    take_folder("mappings", "", sources.mappings);
    for (const char* folder : {"r4", "session", "therapy"}) {
      take_folder("profiles", folder, sources.profiles);
    }
    auto loaded = Translator::load(std::move(sources));
    if (!loaded) {
      std::abort();
    }
    return std::move(*loaded);
  }();
  return *made;
}

const std::string& document() {
  static const std::string text = read_text("tests/bench/resources/mixed-20.session.json");
  return text;
}

Translation translate() {
  const Revision revision{document(), "2026-03-02T09:41:00.000Z"};
  return translator().translate({&revision, 1});
}

void floor_once(const std::string& bundle, const json::NameTable& names) {
  json::Document input(names);
  json::Document output(names);
  benchmark::DoNotOptimize(input.parse(document()).has_value());
  benchmark::DoNotOptimize(output.parse(bundle).has_value());
  std::string text;
  json::write(*output.root(), text);
  benchmark::DoNotOptimize(text.data());
}

void Session(benchmark::State& state) {
  if (translate().verdict != Verdict::kReady) {
    state.SkipWithError("the session is not ready to be sent");
    return;
  }
  for (auto _ : state) {
    benchmark::DoNotOptimize(translate().bundle.data());
  }
  state.SetItemsProcessed(state.iterations());
}
BENCHMARK(Session)->Unit(benchmark::kMicrosecond);

void Floor(benchmark::State& state) {
  const std::string bundle = translate().bundle;
  const json::NameTable names;
  for (auto _ : state) {
    floor_once(bundle, names);
  }
  state.SetItemsProcessed(state.iterations());
}
BENCHMARK(Floor)->Unit(benchmark::kMicrosecond);

// Both in turn, so that a loaded machine slows both alike.
void SessionOverFloor(benchmark::State& state) {
  const std::string bundle = translate().bundle;
  const json::NameTable names;
  double ours = 0;   // seconds
  double floor = 0;  // seconds
  for (auto _ : state) {
    const auto start = std::chrono::steady_clock::now();
    benchmark::DoNotOptimize(translate().bundle.data());
    const auto middle = std::chrono::steady_clock::now();
    floor_once(bundle, names);
    const auto end = std::chrono::steady_clock::now();
    ours += std::chrono::duration<double>(middle - start).count();
    floor += std::chrono::duration<double>(end - middle).count();
  }
  state.counters["ratio"] = floor > 0 ? ours / floor : 0;
}
BENCHMARK(SessionOverFloor)->Unit(benchmark::kMicrosecond);

// For callgrind, whose counts no load on the machine changes: so many sessions, or floors, and no
// timing. The translator is loaded in either case, so that two counts differ by the work alone.
bool counted_run() {
  const char* sessions = std::getenv("SESSION_INSTRUCTIONS");
  const char* floors = std::getenv("FLOOR_INSTRUCTIONS");
  if (sessions == nullptr && floors == nullptr) {
    return false;
  }
  const std::string bundle = translate().bundle;
  const json::NameTable names;
  for (unsigned long i = sessions != nullptr ? std::strtoul(sessions, nullptr, 10) : 0; i > 0;
       --i) {
    benchmark::DoNotOptimize(translate().bundle.data());
  }
  for (unsigned long i = floors != nullptr ? std::strtoul(floors, nullptr, 10) : 0; i > 0; --i) {
    floor_once(bundle, names);
  }
  return true;
}

}  // namespace
}  // namespace engine::therapy

int main(int argc, char** argv) {
  if (engine::therapy::counted_run()) {
    return 0;
  }
  benchmark::Initialize(&argc, argv);
  benchmark::RunSpecifiedBenchmarks();
  return 0;
}

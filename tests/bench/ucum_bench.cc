// Conversions between codes given as text, known ones and ones never seen before. The same work as
// peers/ucum.

// links: engine_ucum

#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <string>
#include <vector>

#include <benchmark/benchmark.h>

#include "engine/ucum/ucum.h"

namespace {

using engine::base::Decimal;
using engine::ucum::UnitTable;

struct Conversion {
  Decimal value;
  std::string from;
  std::string to;
};

std::vector<Conversion> read_conversions() {
  const char* const path = std::getenv("UCUM_CONVERSIONS");
  std::ifstream file(path != nullptr ? path : "tests/bench/ucum_conversions.tsv");
  std::vector<Conversion> out;
  for (std::string line; std::getline(file, line);) {
    const std::size_t first = line.find('\t');
    const std::size_t second = line.find('\t', first + 1);
    if (line.empty() || line.front() == '#' || second == std::string::npos) {
      continue;
    }
    const auto value = Decimal::parse(line.substr(0, first));
    if (value) {
      out.push_back({*value, line.substr(first + 1, second - first - 1), line.substr(second + 1)});
    }
  }
  if (out.empty()) {
    std::fprintf(stderr, "run from the top of the tree: tests/bench/ucum_conversions.tsv\n");
    std::exit(2);
  }
  return out;
}

void convert_all(benchmark::State& state, const std::vector<Conversion>& work) {
  for (const Conversion& c : work) {
    auto result = UnitTable::standard().convert(c.value, c.from, c.to);
    if (!result) {
      state.SkipWithError(result.error().text().c_str());
      return;
    }
    benchmark::DoNotOptimize(result);
  }
}

void known(benchmark::State& state) {
  const std::vector<Conversion> work = read_conversions();
  for (auto _ : state) {
    convert_all(state, work);
  }
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(work.size()));
}
BENCHMARK(known);

// The engine keeps nothing between calls, so a code it has seen costs what a new one costs; the new
// texts are made beside the clock to measure the same strings as the peer.
void fresh(benchmark::State& state) {
  const std::vector<Conversion> work = read_conversions();
  std::vector<Conversion> renamed = work;
  std::size_t serial = 0;
  for (auto _ : state) {
    for (std::size_t i = 0; i < work.size(); ++i) {
      const std::string number = std::to_string(++serial);
      renamed[i].from = work[i].from + "{a" + number + "}";
      renamed[i].to = work[i].to + "{b" + number + "}";
    }
    convert_all(state, renamed);
  }
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(work.size()));
}
BENCHMARK(fresh);

}  // namespace

BENCHMARK_MAIN();

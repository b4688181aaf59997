// Expressions compiled once and evaluated on a parsed resource. The same work as peers/fhirpath.

// links: engine_fhirpath

#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <map>
#include <memory>
#include <sstream>
#include <string>
#include <vector>

#include <benchmark/benchmark.h>

#include "engine/fhirpath/fhirpath.h"
#include "engine/shapes/catalog.h"

namespace {

using engine::fhirpath::Context;
using engine::fhirpath::Expression;
using engine::fhirpath::Item;
using engine::fhirpath::Options;
using engine::fhirpath::Types;
using engine::fhirpath::Workspace;

[[noreturn]] void stop(const std::string& why) {
  std::fprintf(stderr, "%s\n", why.c_str());
  std::exit(2);
}

std::string read(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  if (!in) {
    stop("run from the top of the tree: " + path);
  }
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

std::unique_ptr<engine::shapes::Catalog> load_catalog() {
  std::vector<engine::base::SourceFile> files = {
      {"r4/types.facts", read("profiles/r4/types.facts")}};
  auto loaded = engine::shapes::Catalog::load(files);
  if (!loaded) {
    stop(loaded.error().text());
  }
  (*loaded)->freeze();
  return std::move(*loaded);
}

struct Work {
  std::string name;
  Item focus;
  Expression expression;
};

void evaluate(benchmark::State& state, const Work& work) {
  Workspace workspace;
  Context context;
  context.focus = {&work.focus, 1};
  std::size_t items = 0;
  for (auto _ : state) {
    workspace.reset();
    auto result = work.expression.evaluate(context, workspace);
    if (!result) {
      state.SkipWithError(result.error().text().c_str());
      return;
    }
    items = result->size();
    benchmark::DoNotOptimize(result);
  }
  state.SetItemsProcessed(state.iterations());
  state.counters["items"] = static_cast<double>(items);
}

}  // namespace

int main(int argc, char** argv) {
  const auto catalog = load_catalog();
  const Types types(catalog->types(), catalog->names());
  std::map<std::string, engine::json::Document> documents;
  std::vector<Work> works;
  std::istringstream lines(read("tests/bench/fhirpath_expressions.tsv"));
  for (std::string line; std::getline(lines, line);) {
    const std::size_t first = line.find('\t');
    const std::size_t second = line.find('\t', first + 1);
    if (line.front() == '#' || second == std::string::npos) {
      continue;
    }
    const std::string resource = line.substr(first + 1, second - first - 1);
    auto [found, is_new] = documents.try_emplace(resource, catalog->names());
    if (is_new && !found->second.parse(read("tests/bench/resources/" + resource + ".json"))) {
      stop(resource + " is unreadable");
    }
    const Item focus = types.resource(*found->second.root());
    Options options{.types = &types};
    options.context_type = focus.type;
    auto expression = engine::fhirpath::compile(line.substr(second + 1), options);
    if (!expression) {
      stop(line + ": " + expression.error().text());
    }
    works.push_back({line.substr(0, first), focus, std::move(*expression)});
  }
  benchmark::Initialize(&argc, argv);
  for (const Work& work : works) {
    benchmark::RegisterBenchmark(work.name.c_str(),
                                 [&work](benchmark::State& state) { evaluate(state, work); });
  }
  benchmark::RunSpecifiedBenchmarks();
  return 0;
}

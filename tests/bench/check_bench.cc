// Checking a resource, text in and verdict out, beside the bare cost of RapidJSON's DOM parse of
// the same text (numbers as strings, length-bounded). Synthetic vital signs of about 845 bytes,
// and, when they are at hand, published Observations and Procedures. The same work as peers/check.
//
// With CHECK_INSTRUCTIONS=N the program only parses and checks N resources, for callgrind:
//   CHECK_INSTRUCTIONS=200 valgrind --tool=callgrind build/tests/bench/check_bench

// links: engine_check

#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <fstream>
#include <string>
#include <vector>

#include <benchmark/benchmark.h>
#include <rapidjson/document.h>

#include "engine/check/check.h"
#include "engine/json/write.h"
#include "tests/check/r4.h"

namespace {

namespace check = engine::check;
namespace json = engine::json;
namespace rj = rapidjson;

// The i-th of a series of heart rates, saturations and breathing rates.
std::string vital_sign(std::size_t i) {
  struct Kind {
    const char* loinc;
    const char* name;
    const char* unit;
    int base;
  };
  constexpr Kind kKinds[] = {{"8867-4", "Heart rate", "/min", 62},
                             {"9279-1", "Respiratory rate", "/min", 14},
                             {"2708-6", "Oxygen saturation", "%", 90}};
  const Kind& kind = kKinds[i % 3];
  const std::string id = "v" + std::to_string(i);
  const std::string minute = std::to_string(10 + i % 50);
  return R"({"resourceType":"Observation","id":")" + id +
         R"(","meta":{"versionId":"1","lastUpdated":"2026-03-02T09:)" + minute +
         R"(:00.000Z"},"identifier":[{"system":"https://ward.example/readings","value":"r-)" + id +
         R"("}],"status":"final","category":[{"coding":[{"system":"http://terminology.hl7.org/)"
         R"(CodeSystem/observation-category","code":"vital-signs","display":"Vital Signs"}]}],)"
         R"("code":{"coding":[{"system":"http://loinc.org","code":")" +
         kind.loinc + R"(","display":")" + kind.name + R"("}],"text":")" + kind.name +
         R"("},"subject":{"reference":"Patient/p)" + std::to_string(i % 97) +
         R"(","display":"Invented Testperson"},"effectiveDateTime":"2026-03-02T08:)" + minute +
         R"(:00+01:00","performer":[{"reference":"Practitioner/t1"}],"valueQuantity":{"value":)" +
         std::to_string(kind.base + static_cast<int>(i % 9)) + R"(,"unit":")" + kind.unit +
         R"(","system":"http://unitsofmeasure.org","code":")" + kind.unit + R"("}})";
}

std::vector<std::string> synthetic() {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < 2'000; ++i) {
    out.push_back(vital_sign(i));
  }
  return out;
}

std::vector<std::string> published() {
  std::vector<std::string> out;
  std::ifstream file("../shared/conformance/examples/valid-r4.ndjson");
  json::NameTable names;
  json::Document document(names);
  for (std::string line; std::getline(file, line);) {
    if (document.parse(line)) {
      const json::Node* resource = document.root()->find("resource");
      const std::string_view type = resource->string_at("resourceType");
      if (type == "Observation" || type == "Procedure") {
        out.push_back(json::to_text(*resource));
      }
    }
  }
  return out;
}

struct Session {
  check::Scratch scratch;
  json::Document document{testing_r4::catalog().names()};

  std::size_t check_one(const std::string& text) {
    if (!document.parse(text)) {
      std::abort();
    }
    check::Options options;
    options.text = text;
    options.notes = false;
    return testing_r4::checker().check(*document.root(), options, scratch).size();
  }
};

std::size_t rapidjson_dom(const std::string& text) {
  rj::Document document;
  document.Parse<rj::kParseNumbersAsStringsFlag>(text.c_str(), text.size());
  return document.HasParseError() ? 1 : 0;
}

double processor_us() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) * 1e6 + static_cast<double>(now.tv_nsec) / 1e3;
}

void side_by_side(benchmark::State& state, const std::vector<std::string>& corpus) {
  if (corpus.empty()) {
    state.SkipWithError("the published examples are not here");
    return;
  }
  Session session;
  std::size_t issues = 0;
  for (const std::string& text : corpus) {
    issues += session.check_one(text);
  }
  // Processor time, so that a busy machine does not count.
  double ours = 0;
  double floor = 0;
  for (auto _ : state) {
    const double start = processor_us();
    for (const std::string& text : corpus) {
      benchmark::DoNotOptimize(session.check_one(text));
    }
    const double middle = processor_us();
    for (const std::string& text : corpus) {
      benchmark::DoNotOptimize(rapidjson_dom(text));
    }
    ours += middle - start;
    floor += processor_us() - middle;
  }
  const double resources =
      static_cast<double>(state.iterations()) * static_cast<double>(corpus.size());
  state.counters["check_us"] = ours / resources;
  state.counters["rapidjson_us"] = floor / resources;
  state.counters["ratio"] = ours / floor;
  state.counters["per_s"] = resources / ours * 1e6;
  state.counters["issues"] = static_cast<double>(issues);
}

void vital_signs(benchmark::State& state) {
  static const std::vector<std::string> kCorpus = synthetic();
  side_by_side(state, kCorpus);
}
BENCHMARK(vital_signs)->Unit(benchmark::kMillisecond);

void observations_and_procedures(benchmark::State& state) {
  static const std::vector<std::string> kCorpus = published();
  side_by_side(state, kCorpus);
}
BENCHMARK(observations_and_procedures)->Unit(benchmark::kMillisecond);

void load_r4(benchmark::State& state) {
  const std::vector<engine::base::SourceFile> files = testing_r4::facts();
  std::size_t bytes = 0;
  for (auto _ : state) {
    auto catalog = engine::shapes::Catalog::load(files);
    bytes = (*catalog)->bytes();
    benchmark::DoNotOptimize(catalog);
  }
  state.counters["MB"] = static_cast<double>(bytes) / 1e6;
}
BENCHMARK(load_r4)->Unit(benchmark::kMillisecond);

}  // namespace

int main(int argc, char** argv) {
  if (const char* count = std::getenv("CHECK_INSTRUCTIONS")) {
    Session session;
    std::size_t issues = 0;
    for (std::size_t i = 0; i < std::strtoul(count, nullptr, 10); ++i) {
      issues += session.check_one(vital_sign(i));
    }
    std::printf("%s resources, %zu issues\n", count, issues);
    return 0;
  }
  if (const char* path = std::getenv("CHECK_CORPUS_TO")) {  // the peers read the same texts
    std::ofstream file(path);
    for (const std::string& text : synthetic()) {
      file << text << '\n';
    }
    return 0;
  }
  benchmark::Initialize(&argc, argv);
  benchmark::RunSpecifiedBenchmarks();
  return 0;
}

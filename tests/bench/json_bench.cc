// Parsing into the exact tree beside RapidJSON's own DOM, in one run. Texts: vital-sign
// Observations made here, and the published R4 examples where they lie beside the tree. The DOM
// reads numbers as strings, which is what FHIR needs of it; in-situ parsing includes the copy that
// keeps the text, as ours does.

// links: engine_json

#include <cstring>
#include <fstream>
#include <string>
#include <vector>

#include <benchmark/benchmark.h>
#include <rapidjson/document.h>

#include "engine/json/document.h"
#include "engine/json/write.h"

namespace {

namespace json = engine::json;
namespace rj = rapidjson;

std::string observation(int serial) {
  const std::string n = std::to_string(serial);
  return R"({"resourceType":"Observation","id":"spo2-)" + n +
         R"(","meta":{"profile":["http://hl7.org/fhir/StructureDefinition/oxygensat"]},"status":"final",)"
         R"("category":[{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/observation-category",)"
         R"("code":"vital-signs","display":"Vital Signs"}]}],"code":{"coding":[{"system":"http://loinc.org",)"
         R"("code":"2708-6"},{"system":"http://loinc.org","code":"59408-5"}],"text":"saturation at rest"},)"
         R"("subject":{"reference":"Patient/p)" +
         n + R"("},"effectiveDateTime":"2026-03-02T08:1)" + std::to_string(serial % 10) +
         R"(:00+01:00","performer":[{"reference":"Practitioner/t1"}],"valueQuantity":{"value":9)" +
         std::to_string(serial % 9) +
         R"(.0,"unit":"%","system":"http://unitsofmeasure.org","code":"%"}})";
}

const std::vector<std::string>& texts(int kind) {
  static const std::vector<std::string> made = [] {
    std::vector<std::string> out;
    for (int i = 0; i < 1000; ++i) {
      out.push_back(observation(i));
    }
    return out;
  }();
  static const std::vector<std::string> published = [] {
    std::vector<std::string> out;
    std::ifstream file("../shared/conformance/examples/valid-r4.ndjson");
    for (std::string line; std::getline(file, line);) {
      out.push_back(line);
    }
    return out;
  }();
  return kind == 0 ? made : published;
}

void intern_names(const json::Node& node, json::NameTable& table) {
  for (const json::Node& child : node) {
    if (child.name != nullptr) {
      table.intern(child.name->text);
    }
    intern_names(child, table);
  }
}

// The engine knows the element names of FHIR from its shapes; here those of the texts stand for
// them.
const json::NameTable& names() {
  static json::NameTable table;
  for (int kind = 0; kind < 2 && !table.frozen(); ++kind) {
    for (const std::string& text : texts(kind)) {
      const json::NameTable none;
      json::Document document(none);
      if (document.parse(text)) {
        intern_names(*document.root(), table);
      }
    }
  }
  table.freeze();
  return table;
}

// Runs one parser over all texts; the argument of a benchmark is the kind of text.
template <class Parse>
void run(benchmark::State& state, Parse parse) {
  const std::vector<std::string>& work = texts(static_cast<int>(state.range(0)));
  if (work.empty()) {
    state.SkipWithError("the published examples are not at hand");
    return;
  }
  std::size_t bytes = 0;
  for (auto _ : state) {
    for (const std::string& text : work) {
      if (!parse(text)) {
        state.SkipWithError("a text was refused");
        return;
      }
      bytes += text.size();
    }
  }
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(work.size()));
  state.SetBytesProcessed(static_cast<std::int64_t>(bytes));
}

void ours(benchmark::State& state) {
  json::Document document(names());
  run(state, [&](const std::string& text) { return document.parse(text).has_value(); });
}

void ours_new_document(benchmark::State& state) {
  run(state, [&](const std::string& text) {
    json::Document document(names());
    return document.parse(text).has_value();
  });
}

void ours_parse_and_write(benchmark::State& state) {
  json::Document document(names());
  std::string out;
  run(state, [&](const std::string& text) {
    out.clear();
    const bool read = document.parse(text).has_value();
    json::write(*document.root(), out);
    return read && !out.empty();
  });
}

void rapidjson_length(benchmark::State& state) {
  run(state, [](const std::string& text) {
    rj::Document document;
    document.Parse<rj::kParseNumbersAsStringsFlag>(text.data(), text.size());
    return !document.HasParseError();
  });
}

void rapidjson_zero_terminated(benchmark::State& state) {
  run(state, [](const std::string& text) {
    rj::Document document;
    document.Parse<rj::kParseNumbersAsStringsFlag>(text.c_str());
    return !document.HasParseError();
  });
}

void rapidjson_in_situ(benchmark::State& state) {
  std::vector<char> copy;
  run(state, [&](const std::string& text) {
    copy.resize(text.size() + 1);
    std::memcpy(copy.data(), text.c_str(), text.size() + 1);
    rj::Document document;
    document.ParseInsitu<rj::kParseNumbersAsStringsFlag>(copy.data());
    return !document.HasParseError();
  });
}

BENCHMARK(ours)->ArgName("published")->Arg(0)->Arg(1);
BENCHMARK(ours_new_document)->ArgName("published")->Arg(0)->Arg(1);
BENCHMARK(ours_parse_and_write)->ArgName("published")->Arg(0)->Arg(1);
BENCHMARK(rapidjson_length)->ArgName("published")->Arg(0)->Arg(1);
BENCHMARK(rapidjson_zero_terminated)->ArgName("published")->Arg(0)->Arg(1);
BENCHMARK(rapidjson_in_situ)->ArgName("published")->Arg(0)->Arg(1);

}  // namespace

BENCHMARK_MAIN();

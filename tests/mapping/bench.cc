#include "tests/mapping/bench.h"

#include <filesystem>
#include <fstream>
#include <memory>
#include <sstream>

#include <gtest/gtest.h>

#include "engine/json/write.h"
#include "engine/mapping/program.h"

namespace engine::mapping::testing {
namespace {

std::string read(const std::filesystem::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::stringstream text;
  text << file.rdbuf();
  return text.str();
}

constexpr std::string_view kReading = R"({
  "resourceType": "StructureDefinition", "url": "http://example.org/StructureDefinition/Reading",
  "name": "Reading", "status": "draft", "kind": "logical", "abstract": false, "type": "Reading",
  "baseDefinition": "http://hl7.org/fhir/StructureDefinition/Element", "derivation": "specialization",
  "snapshot": {"element": [
    {"id": "Reading", "path": "Reading", "min": 0, "max": "*"},
    {"id": "Reading.kind", "path": "Reading.kind", "min": 0, "max": "1", "type": [{"code": "code"}]},
    {"id": "Reading.level", "path": "Reading.level", "min": 0, "max": "1", "type": [{"code": "decimal"}]},
    {"id": "Reading.part", "path": "Reading.part", "min": 0, "max": "*", "type": [{"code": "BackboneElement"}]},
    {"id": "Reading.part.label", "path": "Reading.part.label", "min": 0, "max": "1", "type": [{"code": "string"}]},
    {"id": "Reading.part.size", "path": "Reading.part.size", "min": 0, "max": "1", "type": [{"code": "integer"}]}
  ]}})";

std::unique_ptr<shapes::Catalog> load_catalog() {
  std::vector<base::SourceFile> files;
  for (const auto& entry : std::filesystem::directory_iterator("profiles/r4")) {
    if (entry.path().extension() == ".facts") {
      files.push_back({"r4/" + entry.path().filename().string(), read(entry.path())});
    }
  }
  base::Result<std::unique_ptr<shapes::Catalog>> loaded = shapes::Catalog::load(files);
  EXPECT_TRUE(loaded) << (loaded ? "" : loaded.error().text());
  if (!loaded) {
    std::abort();
  }
  const std::vector<base::SourceFile> model = {{"Reading.json", std::string(kReading)}};
  for (const fhir::Issue& issue : (*loaded)->add(model)) {
    EXPECT_NE(issue.severity, fhir::Severity::kError) << issue.text;
  }
  (*loaded)->freeze();
  return std::move(*loaded);
}

}  // namespace

const shapes::Catalog& catalog() {
  static const std::unique_ptr<shapes::Catalog> loaded = load_catalog();
  return *loaded;
}

std::string map_text(std::string_view body) {
  std::string text = "map \"http://example.org/m\" = m\n";
  for (const char* type : {"Patient", "Observation", "Basic", "Bundle", "QuestionnaireResponse"}) {
    text += std::string("uses \"http://hl7.org/fhir/StructureDefinition/") + type + "\" alias " +
            type + " as " + (std::string_view(type) == "Patient" ? "source" : "target") + "\n";
  }
  return text + std::string(body);
}

Answer Bench::operator()(std::string_view source) const {
  Answer answer;
  base::Result<std::unique_ptr<MapSet>> maps = MapSet::load(files, catalog(), load);
  if (!maps) {
    answer.result = "error: " + maps.error().text();
    return answer;
  }
  json::Document input(catalog().names());
  base::Result<void> parsed = input.parse(source);
  if (!parsed) {
    answer.result = "error: " + parsed.error().text();
    return answer;
  }
  json::Document output(catalog().names());
  const GroupInfo& group = (*maps)->maps()[0].groups[0];
  json::Node* target = output.make_object();
  const shapes::TypeModel& model = catalog().types();
  const shapes::TypeId type = group.inputs.back().type_id;
  if (type != shapes::kNoType && model.info(type).kind == shapes::TypeKind::kResource) {
    output.append(target, "resourceType", output.make_string(model.info(type).name));
  }
  Run run_state(**maps, output, run);
  const std::vector<Binding> bindings = {Binding::of_source(*input.root()),
                                         Binding::of_target(*target)};
  base::Result<void> ran = run_state.call(group.id, bindings);
  for (const TraceLine& line : run_state.trace()) {
    answer.trace.push_back(line.text);
  }
  if (!ran) {
    answer.result = "error: " + ran.error().text();
    return answer;
  }
  run_state.finish();
  answer.result = json::to_text(*target);
  std::string lineage;
  write_lineage(run_state, *target, lineage);
  base::Result<std::string> told = tell_lineage(lineage);
  answer.lineage = told ? *told : told.error().text();
  return answer;
}

std::vector<Case> read_cases(const std::string& path) {
  std::istringstream text(read(path));
  std::vector<Case> cases;
  std::string* part = nullptr;
  std::string line;
  while (std::getline(text, line)) {
    if (line.rfind("== ", 0) == 0) {
      cases.emplace_back().name = line.substr(3);
      part = &cases.back().map;
    } else if (line == "-- source") {
      part = &cases.back().source;
    } else if (line == "-- result") {
      part = &cases.back().result;
    } else if (part != nullptr && !line.empty()) {
      *part += (part->empty() ? "" : "\n") + line;
    }
  }
  EXPECT_FALSE(cases.empty()) << path;
  for (Case& one : cases) {
    if (one.map.rfind("map ", 0) != 0 && one.map.rfind("///", 0) != 0) {
      one.map = map_text(one.map);
    }
  }
  return cases;
}

std::string run_map(std::string_view map, std::string_view source) {
  Bench bench;
  bench.files = {{"t.map", std::string(map)}};
  bench.run.uuid_seed = "t";
  return bench(source).result;
}

std::string load_map(std::string_view map) {
  const std::vector<base::SourceFile> files = {{"t.map", std::string(map)}};
  base::Result<std::unique_ptr<MapSet>> maps = MapSet::load(files, catalog());
  if (maps) {
    return "ok";
  }
  std::string where = maps.error().where;
  if (where.rfind("t.map:", 0) == 0) {
    where = where.substr(6);
  }
  return where + " " + maps.error().detail;
}

}  // namespace engine::mapping::testing

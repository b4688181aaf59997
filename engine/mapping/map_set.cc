// Loading a set of maps and tables: read every file, then compile all of it or nothing.

#include <algorithm>
#include <utility>

#include "engine/base/limits.h"
#include "engine/json/document.h"
#include "engine/mapping/compiler.h"
#include "engine/mapping/mapping.h"
#include "engine/mapping/parse.h"
#include "engine/mapping/program.h"
#include "engine/mapping/structure_map.h"

namespace engine::mapping {

using base::Error;
using base::ErrorCode;
using base::Result;

namespace {

bool ends_with(std::string_view text, std::string_view tail) {
  return text.size() >= tail.size() && text.substr(text.size() - tail.size()) == tail;
}

void add_map(Program& program, Result<Map> map, std::vector<Error>& problems) {
  if (!map) {
    problems.push_back(std::move(map).error());
    return;
  }
  ParsedMap& parsed = program.maps.emplace_back();
  parsed.map = std::move(*map);
  for (const EmbeddedConceptMap& table : parsed.map.concept_maps) {
    Result<ConceptMap> made = from_embedded(table, parsed.map);
    if (made) {
      program.tables.push_back(std::move(*made));
    } else {
      problems.push_back(std::move(made).error());
    }
  }
}

void add_table(Program& program, Result<ConceptMap> table, std::vector<Error>& problems) {
  if (!table) {
    problems.push_back(std::move(table).error());
    return;
  }
  for (const ConceptMap& other : program.tables) {
    if (other.url == table->url) {
      problems.emplace_back(ErrorCode::kConflict,
                            "the ConceptMap " + table->url + " is in " + other.file + " already",
                            table->file);
      return;
    }
  }
  program.tables.push_back(std::move(*table));
}

void add_json(Program& program, const base::SourceFile& file, std::vector<Error>& problems) {
  json::NameTable names;
  json::Document document(names);
  Result<void> parsed = document.parse(file.bytes);
  if (!parsed) {
    problems.emplace_back(parsed.error().code, parsed.error().detail,
                          file.name + ":" + parsed.error().where);
    return;
  }
  const std::string_view type = document.root()->string_at("resourceType");
  if (type == "ConceptMap") {
    add_table(program, read_concept_map(*document.root(), file.name), problems);
  } else if (type == "StructureMap") {
    add_map(program, read_structure_map(*document.root(), file.name), problems);
  }
}

TransformNames known_names(const json::NameTable& names) {
  return {names.find("resourceType"), names.find("id"),    names.find("coding"),
          names.find("system"),       names.find("code"),  names.find("display"),
          names.find("text"),         names.find("value"), names.find("unit"),
          names.find("comparator"),   names.find("type"),  names.find("reference")};
}

bool all_known(const TransformNames& names) {
  return names.resource_type != nullptr && names.id != nullptr && names.coding != nullptr &&
         names.system != nullptr && names.code != nullptr && names.display != nullptr &&
         names.text != nullptr && names.value != nullptr && names.unit != nullptr &&
         names.comparator != nullptr && names.type != nullptr && names.reference != nullptr;
}

}  // namespace

MapSet::MapSet(std::unique_ptr<Program> program) : program_(std::move(program)) {}
MapSet::~MapSet() = default;

Result<std::unique_ptr<MapSet>> MapSet::load(std::span<const base::SourceFile> files,
                                             const shapes::Catalog& catalog,
                                             const LoadOptions& options,
                                             std::vector<Error>* problems) {
  std::vector<Error> found;
  auto program = std::make_unique<Program>(catalog);
  program->options = options;
  program->functions = adapt_functions(program->options);
  program->names = known_names(catalog.names());
  if (!all_known(program->names)) {
    return Error(ErrorCode::kNotFound, "the published datatypes are not loaded");
  }
  for (std::size_t i = 0; i < catalog.types().size(); ++i) {
    program->primitives.push_back(
        fhir::primitive_named(catalog.types().info(static_cast<shapes::TypeId>(i)).name));
  }
  std::vector<const base::SourceFile*> sorted;
  for (const base::SourceFile& file : files) {
    sorted.push_back(&file);
  }
  std::sort(sorted.begin(), sorted.end(),
            [](const auto* a, const auto* b) { return a->name < b->name; });
  for (const base::SourceFile* file : sorted) {
    if (file->name.substr(0, 8) == "samples/" ||
        file->name.find("/samples/") != std::string::npos) {
      continue;
    }
    if (ends_with(file->name, ".map")) {
      add_map(*program, parse_map(file->bytes, file->name), found);
    } else if (ends_with(file->name, ".csv")) {
      add_table(*program, read_concept_csv(file->bytes, file->name), found);
    } else if (ends_with(file->name, ".json")) {
      add_json(*program, *file, found);
    }
  }
  if (found.empty()) {
    Compiler(*program, found).run();
  }
  if (!found.empty()) {
    Error first = found.front();
    if (problems != nullptr) {
      *problems = std::move(found);
    }
    return first;
  }
  return std::unique_ptr<MapSet>(new MapSet(std::move(program)));
}

std::span<const MapInfo> MapSet::maps() const {
  return program_->infos;
}

const MapInfo* MapSet::find(std::string_view url) const {
  for (const MapInfo& info : program_->infos) {
    if (info.url == url) {
      return &info;
    }
  }
  return nullptr;
}

const GroupInfo* MapSet::find_group(const MapInfo& map, std::string_view name) {
  if (name.empty()) {
    return map.groups.empty() ? nullptr : map.groups.data();
  }
  for (const GroupInfo& group : map.groups) {
    if (group.name == name) {
      return &group;
    }
  }
  return nullptr;
}

}  // namespace engine::mapping

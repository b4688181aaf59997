#include "engine/shapes/compile.h"

#include <algorithm>
#include <utility>

#include "engine/shapes/definition_set.h"

namespace engine::shapes {
namespace {

std::size_t listed_codes(const ValueSetFacts& set) {
  std::size_t count = 0;
  for (const ValueSetFacts::Part& part : set.parts) {
    count += part.codes.size();
  }
  return count;
}

void add_file(CompiledPackage& compiled, const std::vector<std::string>& dependencies,
              std::string name, FactSet set) {
  if (set.shapes.empty() && set.code_systems.empty() && set.value_sets.empty()) {
    return;
  }
  set.package = compiled.id;
  set.dependencies.assign(dependencies.begin(), dependencies.end());
  compiled.files.push_back({std::move(name), print_facts(set)});
}

}  // namespace

CompiledPackage compile_package(const FhirPackage& package, const Catalog& known,
                                const CompileOptions& options) {
  CompiledPackage compiled;
  compiled.id = package.id();
  const std::vector<std::string> dependencies = package.dependency_ids();
  base::Arena texts;
  DefinitionSet definitions(known, texts, compiled.id);
  if (options.ignore_published_snapshots) {
    definitions.ignore_published_snapshots();
  }
  for (const base::SourceFile& file : package.files) {
    definitions.add(file.name, file.bytes, package.version);
  }
  FactSet all = definitions.facts();
  compiled.issues = definitions.issues();
  std::erase_if(all.value_sets, [&](const ValueSetFacts& set) {
    return listed_codes(set) > options.value_set_codes_max;
  });
  all.package = compiled.id;
  all.dependencies.assign(dependencies.begin(), dependencies.end());
  compiled.all = print_facts(all);
  FactSet types;
  FactSet profiles;
  FactSet extensions;
  for (ShapeFacts& shape : all.shapes) {
    FactSet& set = !shape.is_profile ? types : shape.type == "Extension" ? extensions : profiles;
    set.shapes.push_back(std::move(shape));
  }
  FactSet systems;
  systems.code_systems = std::move(all.code_systems);
  FactSet value_sets;
  value_sets.value_sets = std::move(all.value_sets);
  compiled.shapes = types.shapes.size() + profiles.shapes.size() + extensions.shapes.size();
  compiled.code_systems = systems.code_systems.size();
  compiled.value_sets = value_sets.value_sets.size();
  add_file(compiled, dependencies, "types.facts", std::move(types));
  add_file(compiled, dependencies, "profiles.facts", std::move(profiles));
  add_file(compiled, dependencies, "extensions.facts", std::move(extensions));
  add_file(compiled, dependencies, "code-systems.facts", std::move(systems));
  add_file(compiled, dependencies, "value-sets.facts", std::move(value_sets));
  return compiled;
}

}  // namespace engine::shapes

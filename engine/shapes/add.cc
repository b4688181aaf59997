// Catalog::add: definitions of a site, added to what is loaded.

#include <utility>

#include "engine/json/document.h"
#include "engine/shapes/catalog_builder.h"
#include "engine/shapes/definition_set.h"

namespace engine::shapes {
namespace {

fhir::Issue issue_of(const base::Error& error, std::string_view file) {
  fhir::Issue issue;
  issue.code = error.code == base::ErrorCode::kUnsupported ? "not-supported" : "invalid";
  issue.expression = error.where;
  issue.text = error.text();
  issue.rule = file;
  return issue;
}

}  // namespace

fhir::Issues Catalog::add(std::span<const base::SourceFile> files, std::string_view package) {
  ENGINE_CHECK(!names_.frozen());
  CatalogBuilder builder(*this);
  base::Arena& arena = store_->arena;
  const std::string_view package_id = copy_text(arena, package);
  fhir::Issues issues;
  DefinitionSet definitions(*this, arena, package_id);
  const std::size_t at = package_id.find('#');
  const std::string_view version =
      at == std::string_view::npos ? std::string_view() : package_id.substr(at + 1);
  std::vector<FactSet> sets;
  for (const base::SourceFile& file : files) {
    if (file.name.ends_with(".json")) {
      definitions.add(file.name, file.bytes, version);
    } else if (file.name.ends_with(".facts")) {
      base::Result<FactSet> set =
          read_facts(file.name, store_->texts.emplace_back(file.bytes), arena);
      if (!set) {
        issues.push_back(issue_of(set.error(), file.name));
        continue;
      }
      sets.push_back(std::move(*set));
    }
  }
  sets.push_back(definitions.facts());
  issues.insert(issues.end(), definitions.issues().begin(), definitions.issues().end());
  for (const FactSet& set : sets) {
    builder.add_each(set, issues);
  }
  builder.link();
  return issues;
}

fhir::Issues Catalog::add(const FhirPackage& package) {
  CatalogBuilder builder(*this);
  base::Arena& arena = store_->arena;
  std::vector<std::string_view> dependencies;
  for (const std::string& id : package.dependency_ids()) {
    dependencies.push_back(copy_text(arena, id));
  }
  builder.add_package(copy_text(arena, package.id()), dependencies);
  return add(package.files, package.id());
}

bool Catalog::has_package(std::string_view id) const {
  for (const Package& package : store_->packages) {
    if (package.id == id) {
      return true;
    }
  }
  return false;
}

std::vector<std::string_view> Catalog::packages() const {
  std::vector<std::string_view> ids;
  for (const Package& package : store_->packages) {
    ids.push_back(package.id);
  }
  return ids;
}

void CatalogBuilder::add_each(const FactSet& set, fhir::Issues& issues) {
  add_package(set.package, set.dependencies);
  catalog_.binding_exceptions_.insert(catalog_.binding_exceptions_.end(), set.exceptions.begin(),
                                      set.exceptions.end());
  for (const ShapeFacts& shape : set.shapes) {
    if (base::Result<void> types = add_types({&shape}); !types) {
      issues.push_back(issue_of(types.error(), shape.url));
    }
  }
  for (const ShapeFacts& shape : set.shapes) {
    if (base::Result<const Shape*> added = add_shape(shape, set.package); !added) {
      issues.push_back(issue_of(added.error(), shape.url));
    }
  }
  for (const CodeSystemFacts& system : set.code_systems) {
    add_code_system(system, set.package);
  }
  for (const ValueSetFacts& value_set : set.value_sets) {
    add_value_set(value_set, set.package);
  }
}

}  // namespace engine::shapes

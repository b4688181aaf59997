#include "engine/cli/map_bench.h"

#include <cstdio>
#include <filesystem>
#include <utility>

#include "engine/base/limits.h"
#include "engine/cli/embedded.h"
#include "engine/cli/files.h"
#include "engine/cli/read_file.h"
#include "engine/cli/translator_files.h"
#include "engine/json/write.h"
#include "engine/shapes/package.h"

namespace engine::cli {

using base::Error;
using base::ErrorCode;
using base::Result;

namespace {

void report(const fhir::Issues& issues) {
  for (const fhir::Issue& issue : issues) {
    if (issue.severity == fhir::Severity::kError) {
      std::fprintf(stderr, "chartferry: %s\n", issue.text.c_str());
    }
  }
}

Result<std::unique_ptr<shapes::Catalog>> with_packages(std::unique_ptr<shapes::Catalog> catalog,
                                                       const std::vector<std::string>& packages) {
  for (const std::string& path : packages) {
    Result<std::string> bytes = read_file(path, base::limits::kPackageBytesMax);
    if (!bytes) {
      return std::move(bytes).error();
    }
    Result<shapes::FhirPackage> package = shapes::read_package(*bytes);
    if (!package) {
      return Error(package.error().code, package.error().text(), path);
    }
    report(catalog->add(package->files, package->id()));
  }
  catalog->freeze();
  return catalog;
}

}  // namespace

Result<std::unique_ptr<shapes::Catalog>> load_map_catalog(
    const std::vector<std::string>& packages) {
  Result<std::unique_ptr<shapes::Catalog>> catalog = shapes::Catalog::load(embedded_profiles("r4"));
  if (!catalog) {
    return catalog;
  }
  std::vector<base::SourceFile> own;
  for (const std::string_view folder : {"session", "therapy"}) {
    for (const base::SourceView& file : embedded_profiles(folder)) {
      own.push_back({std::string(file.name), std::string(file.bytes)});
    }
  }
  report((*catalog)->add(own));
  return with_packages(std::move(*catalog), packages);
}

Result<std::unique_ptr<shapes::Catalog>> load_site_catalog(
    std::span<const base::SourceFile> profiles, const std::vector<std::string>& packages) {
  Result<std::unique_ptr<shapes::Catalog>> catalog = shapes::Catalog::load(profiles);
  return catalog ? with_packages(std::move(*catalog), packages) : std::move(catalog);
}

Result<std::vector<base::SourceFile>> read_maps(const std::string& path) {
  std::error_code ignored;
  if (std::filesystem::is_directory(path, ignored)) {
    Result<std::vector<base::SourceFile>> files = read_folder(path, base::limits::kCheckedBytesMax);
    if (files) {
      // A country's overlay is no part of the set below it (translator_files.h).
      std::erase_if(*files, [](const base::SourceFile& file) {
        return file.name.starts_with(kNationalFolder);
      });
    }
    return files;
  }
  Result<std::string> bytes = read_file(path);
  if (!bytes) {
    return std::move(bytes).error();
  }
  return std::vector<base::SourceFile>{
      {std::filesystem::path(path).filename().string(), std::move(*bytes)}};
}

Result<MapBench> MapBench::open(std::shared_ptr<const shapes::Catalog> catalog,
                                std::span<const base::SourceFile> files,
                                const therapy::Settings& settings, std::vector<Error>* problems) {
  MapBench bench;
  bench.catalog_ = std::move(catalog);
  bench.workshop_ = std::make_unique<therapy::Workshop>();
  bench.workshop_->settings = settings;
  bench.context_ = std::make_unique<therapy::MapContext>();
  bench.context_->shop = bench.workshop_.get();
  Result<std::unique_ptr<mapping::MapSet>> maps = mapping::MapSet::load(
      files, *bench.catalog_, therapy::map_options(bench.workshop_->settings), problems);
  if (!maps) {
    return std::move(maps).error();
  }
  bench.maps_ = std::move(*maps);
  bench.workshop_->maps = bench.maps_.get();
  return bench;
}

Result<MapOutcome> MapBench::run(const mapping::GroupInfo& group,
                                 std::span<const json::Node* const> sources, bool coverage) const {
  const shapes::TypeModel& model = catalog_->types();
  json::Document output(catalog_->names());
  std::vector<mapping::Binding> bindings;
  std::size_t next = 0;
  json::Node* target = nullptr;
  for (const mapping::InputInfo& input : group.inputs) {
    if (input.is_source) {
      if (next == sources.size()) {
        return Error(ErrorCode::kInvalid,
                     "the group " + group.name + " takes a further source, " + input.name);
      }
      bindings.push_back(mapping::Binding::of_source(*sources[next++]));
      continue;
    }
    target = output.make_object();
    if (input.type_id != shapes::kNoType &&
        model.info(input.type_id).kind == shapes::TypeKind::kResource) {
      output.append(target, "resourceType", output.make_string(model.info(input.type_id).name));
    }
    bindings.push_back(mapping::Binding::of_target(*target));
  }
  if (next != sources.size() || target == nullptr) {
    return Error(ErrorCode::kInvalid, "the group " + group.name + " takes " + std::to_string(next) +
                                          " sources and makes a target");
  }
  mapping::RunOptions options;
  options.host_context = context_.get();
  mapping::Run run(*maps_, output, std::move(options));
  if (coverage) {
    run.watch_coverage();
  }
  Result<void> ran = run.call(group.id, bindings);
  if (!ran) {
    return std::move(ran).error();
  }
  run.finish();
  MapOutcome outcome;
  outcome.compact = json::to_text(*target);
  outcome.output = json::to_pretty_text(*target);
  std::string lineage;
  mapping::write_lineage(run, *target, lineage);
  Result<std::string> told = mapping::tell_lineage(lineage);
  if (!told) {
    return std::move(told).error();
  }
  outcome.lineage = std::move(*told);
  outcome.trace.assign(run.trace().begin(), run.trace().end());
  outcome.fired = run.fired_rules();
  return outcome;
}

Result<const json::Node*> read_source(const std::string& name, json::Document& document) {
  const std::size_t hash = name.find('#');
  Result<std::string> bytes = read_file(name.substr(0, hash));
  if (!bytes) {
    return std::move(bytes).error();
  }
  Result<void> parsed = document.parse(*bytes);
  if (!parsed) {
    return Error(parsed.error().code, parsed.error().detail, name + ":" + parsed.error().where);
  }
  const json::Node* node = document.root();
  std::string_view pointer =
      hash == std::string::npos ? std::string_view() : std::string_view(name).substr(hash + 1);
  while (node != nullptr && !pointer.empty()) {
    pointer.remove_prefix(1);
    const std::string_view step = pointer.substr(0, pointer.find('/'));
    pointer.remove_prefix(step.size());
    const json::Node* child = nullptr;
    std::size_t index = 0;
    for (const json::Node& each : *node) {
      if (node->is_object() ? each.name->text == step : std::to_string(index++) == step) {
        child = &each;
      }
    }
    node = child;
  }
  if (node == nullptr) {
    return Error(ErrorCode::kNotFound, "the document has nothing at this pointer", name);
  }
  return node;
}

}  // namespace engine::cli

// chartferry profiles: what published shapes the engine knows, and how to give it more.

#include <cstdio>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>

#include "engine/base/limits.h"
#include "engine/cli/commands.h"
#include "engine/cli/embedded.h"
#include "engine/cli/files.h"
#include "engine/cli/profiles_view.h"
#include "engine/cli/read_file.h"
#include "engine/cli/site_profiles.h"
#include "engine/shapes/catalog.h"
#include "engine/shapes/compile.h"
#include "engine/shapes/package.h"

namespace engine::cli {
namespace {

using base::Result;
using shapes::Catalog;

int fail(const base::Error& error) {
  std::fprintf(stderr, "chartferry profiles: %s\n", error.text().c_str());
  return kUsage;
}

Result<shapes::FhirPackage> open_package(const std::string& path) {
  Result<std::string> bytes = read_file(path, base::limits::kPackageBytesMax);
  if (!bytes) {
    return std::move(bytes).error();
  }
  Result<shapes::FhirPackage> package = shapes::read_package(*bytes);
  if (!package) {
    base::Error error = std::move(package).error();
    error.where = path + (error.where.empty() ? "" : ": " + error.where);
    return error;
  }
  return package;
}

void print_issues(const fhir::Issues& issues) {
  for (const fhir::Issue& issue : issues) {
    std::fprintf(stderr, "%.*s: %s\n", static_cast<int>(fhir::name_of(issue.severity).size()),
                 fhir::name_of(issue.severity).data(), issue.text.c_str());
  }
}

struct CompileArguments {
  std::string package;
  std::string output;
  bool regenerate = false;
};

int compile(const CompileArguments& arguments) {
  Result<shapes::FhirPackage> package = open_package(arguments.package);
  if (!package) {
    return fail(package.error());
  }
  // The core package stands on nothing; every other one stands on the core facts.
  std::span<const base::SourceView> base_facts = embedded_profiles("r4");
  if (package->name == "hl7.fhir.r4.core") {
    base_facts = {};
  }
  Result<std::unique_ptr<Catalog>> known = Catalog::load(base_facts);
  if (!known) {
    return fail(known.error());
  }
  shapes::CompileOptions options;
  options.ignore_published_snapshots = arguments.regenerate;
  const shapes::CompiledPackage compiled = shapes::compile_package(*package, **known, options);
  print_issues(compiled.issues);
  std::size_t bytes = 0;
  for (const base::SourceFile& file : compiled.files) {
    Result<void> written = write_file(arguments.output + "/" + file.name, file.bytes);
    if (!written) {
      return fail(written.error());
    }
    bytes += file.bytes.size();
  }
  std::printf("%s: %zu shapes, %zu code systems, %zu value sets, %zu bytes in %zu files\n",
              compiled.id.c_str(), compiled.shapes, compiled.code_systems, compiled.value_sets,
              bytes, compiled.files.size());
  return fhir::has_errors(compiled.issues) ? kNo : kOk;
}

int print(const Result<std::string>& text) {
  if (!text) {
    std::fprintf(stderr, "chartferry profiles: %s\n", text.error().text().c_str());
    return text.error().code == base::ErrorCode::kNotFound ? kNo : kUsage;
  }
  std::fputs(text->c_str(), stdout);
  return kOk;
}

// The options that say which definitions a subcommand sees.
void add_source_options(CLI::App& command, ProfileOptions& options) {
  command.add_option("--package", options.packages, "A FHIR package (.tgz); may be repeated");
  command.add_option("--definitions", options.definitions,
                     "A JSON definition, or a folder of them; may be repeated");
  command.add_option("--with", options.built_in,
                     "Built-in national profiles: us-core/3.1.0, us-core/9.0.0");
  command.add_option("--cache", options.cache, "Folder of compiled packages");
}

struct Arguments {
  ProfileOptions sources;
  ListFilter filter;
  CompileArguments compile;
  std::string place;
  bool every_element = false;
};

int run_add(Arguments& arguments) {
  if (arguments.sources.cache.empty()) {
    std::fprintf(stderr, "chartferry profiles: add needs --cache FOLDER to keep packages in\n");
    return kUsage;
  }
  Result<SiteProfiles> site = load_profiles(arguments.sources);
  if (!site) {
    return fail(site.error());
  }
  print_issues(site->issues);
  for (const std::string_view id : site->catalog->packages()) {
    std::printf("%.*s\n", static_cast<int>(id.size()), id.data());
  }
  return fhir::has_errors(site->issues) ? kNo : kOk;
}

int run_view(const Arguments& arguments,
             Result<std::string> (*view)(const Catalog&, const Arguments&)) {
  Result<SiteProfiles> site = load_profiles(arguments.sources);
  if (!site) {
    return fail(site.error());
  }
  print_issues(site->issues);
  return print(view(*site->catalog, arguments));
}

}  // namespace

int run_profiles(int argc, char** argv) {
  CLI::App app("Published shapes: what the engine knows, and how to give it more",
               "chartferry profiles");
  app.require_subcommand(1);
  Arguments arguments;
  CLI::App* list = app.add_subcommand("list", "List the definitions that are known");
  add_source_options(*list, arguments.sources);
  list->add_option("--type", arguments.filter.type, "Only definitions of this type");
  list->add_option("--from", arguments.filter.package, "Only definitions of this NAME#VERSION");
  list->add_flag("--extensions", arguments.filter.extensions, "Extensions too");
  list->add_flag("--types", arguments.filter.types, "Base types and resources too");

  CLI::App* show = app.add_subcommand("show", "Show the elements of a definition");
  add_source_options(*show, arguments.sources);
  show->add_option("canonical", arguments.place, "URL[|VERSION], or the name of an R4 one")
      ->required();
  show->add_flag("--all", arguments.every_element,
                 "Every element, not only those that say more than the base type");

  CLI::App* explain =
      app.add_subcommand("explain", "Tell which definition says what of an element");
  add_source_options(*explain, arguments.sources);
  explain->add_option("place", arguments.place, "URL[|VERSION]#ELEMENT-ID")->required();

  CLI::App* add = app.add_subcommand("add", "Compile packages into a cache and pin them there");
  add_source_options(*add, arguments.sources);

  CLI::App* compile_command =
      app.add_subcommand("compile", "Turn a FHIR package into reviewable fact files");
  compile_command->add_option("--package", arguments.compile.package, "The package, a .tgz file")
      ->required();
  compile_command->add_option("-o,--output", arguments.compile.output, "Folder for the fact files")
      ->required();
  compile_command->add_flag("--regenerate", arguments.compile.regenerate,
                            "Generate snapshots even where the package has them");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? kOk : kUsage;
  }
  if (compile_command->parsed()) {
    return compile(arguments.compile);
  }
  if (add->parsed()) {
    return run_add(arguments);
  }
  if (list->parsed()) {
    return run_view(arguments, [](const Catalog& catalog, const Arguments& a) {
      return Result<std::string>(list_shapes(catalog, a.filter));
    });
  }
  if (show->parsed()) {
    return run_view(arguments, [](const Catalog& catalog, const Arguments& a) {
      return show_shape(catalog, a.place, a.every_element);
    });
  }
  return run_view(arguments, [](const Catalog& catalog, const Arguments& a) {
    return explain_element(catalog, a.place);
  });
}

}  // namespace engine::cli

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
#include "engine/cli/read_file.h"
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

}  // namespace

int run_profiles(int argc, char** argv) {
  CLI::App app("Published shapes: what the engine knows, and how to give it more",
               "chartferry profiles");
  app.require_subcommand(1);
  CompileArguments compile_arguments;
  CLI::App* compile_command =
      app.add_subcommand("compile", "Turn a FHIR package into reviewable fact files");
  compile_command->add_option("--package", compile_arguments.package, "The package, a .tgz file")
      ->required();
  compile_command->add_option("-o,--output", compile_arguments.output, "Folder for the fact files")
      ->required();
  compile_command->add_flag("--regenerate", compile_arguments.regenerate,
                            "Generate snapshots even where the package has them");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? kOk : kUsage;
  }
  return compile(compile_arguments);
}

}  // namespace engine::cli

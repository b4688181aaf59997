// chartferry fhirpath: evaluates expressions on resources, for people and, with --batch, for
// programs.

#include <chrono>
#include <cstdio>
#include <memory>
#include <string>
#include <utility>

#include <CLI/CLI.hpp>

#include "engine/cli/batch.h"
#include "engine/cli/catalog_host.h"
#include "engine/cli/commands.h"
#include "engine/cli/embedded.h"
#include "engine/cli/read_file.h"
#include "engine/cli/shown_text.h"
#include "engine/fhirpath/fhirpath.h"
#include "engine/json/write.h"
#include "engine/shapes/catalog.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

constexpr std::size_t kShownBytesMax = 120;  // of one item in a line of --explain

// A line of text for one item: its type and value.
std::string shown(const fhirpath::Item& item, const fhirpath::Types& types) {
  std::string value = fhirpath::to_text(item);
  if (value.size() > kShownBytesMax) {
    value.resize(kShownBytesMax - 3);
    value += "...";
  }
  return fhirpath::type_text(item, &types) + ' ' + value;
}

// Prints what trace() and --explain show, to standard error and standard output.
class TalkingHost : public CatalogHost {
 public:
  TalkingHost(const shapes::Catalog& catalog, const fhirpath::Types& types, bool explain)
      : CatalogHost(catalog), types_(types), explain_(explain) {}

  void trace(std::string_view name, fhirpath::Items items) const override {
    for (const fhirpath::Item& item : items) {
      std::fprintf(stderr, "%.*s: %s\n", static_cast<int>(name.size()), name.data(),
                   shown_lines(shown(item, types_)).c_str());
    }
  }
  bool wants_steps() const override { return explain_; }
  void step(std::string_view part, fhirpath::Items result) const override {
    std::printf("  %.*s\n", static_cast<int>(part.size()), part.data());
    if (result.empty()) {
      std::printf("      (nothing)\n");
    }
    for (const fhirpath::Item& item : result) {
      std::printf("      %s\n", for_stdout(shown(item, types_)).c_str());
    }
  }

 private:
  const fhirpath::Types& types_;
  bool explain_;
};

struct Engine {
  std::unique_ptr<shapes::Catalog> catalog;
  std::unique_ptr<fhirpath::Types> types;
  std::string now;
};

Result<Engine> start() {
  Result<std::unique_ptr<shapes::Catalog>> catalog = shapes::Catalog::load(embedded_profiles("r4"));
  if (!catalog) {
    return std::move(catalog).error();
  }
  Engine engine;
  engine.catalog = std::move(*catalog);
  engine.catalog->freeze();
  engine.types =
      std::make_unique<fhirpath::Types>(engine.catalog->types(), engine.catalog->names());
  engine.now = base::to_instant(std::chrono::system_clock::now());
  return engine;
}

void append_item(const fhirpath::Item& item, const fhirpath::Types& types, std::string& out) {
  out += R"({"type":)";
  json::write_string(fhirpath::type_text(item, &types), out);
  out += R"(,"value":)";
  switch (item.kind) {
    case fhirpath::ItemKind::kNode:
      if (item.at.node != nullptr) {
        json::write(*item.at.node, out);
      } else {
        out += "null";
      }
      break;
    case fhirpath::ItemKind::kBoolean:
    case fhirpath::ItemKind::kInteger:
    case fhirpath::ItemKind::kDecimal:
      out += fhirpath::to_text(item);
      break;
    default:
      json::write_string(fhirpath::to_text(item), out);
  }
  out += '}';
}

Result<void> answer(const Engine& engine, const CatalogHost& host, const json::Node& request,
                    fhirpath::Workspace& workspace, std::string& out) {
  const json::Node* text = request.find("expression");
  if (text == nullptr || !text->is_string()) {
    return Error(ErrorCode::kInvalid, "a text is expected", "expression");
  }
  const json::Node* resource = request.find("resource");
  fhirpath::Options options{.types = engine.types.get()};
  options.strict = request.string_at("mode") == "strict";
  fhirpath::Item focus;
  if (resource != nullptr && resource->is_object()) {
    focus = engine.types->resource(*resource);
    options.context_type = focus.type;
  }
  const Result<fhirpath::Expression> expression = fhirpath::compile(text->text(), options);
  if (!expression) {
    return expression.error();
  }
  workspace.reset();
  fhirpath::Context context;
  if (!focus.is_nothing()) {
    context.focus = {&focus, 1};
  }
  context.host = &host;
  context.now = engine.now;
  const Result<fhirpath::Items> result = expression->evaluate(context, workspace);
  if (!result) {
    return result.error();
  }
  out += R"(,"result":[)";
  bool first = true;
  for (const fhirpath::Item& item : *result) {
    out += first ? "" : ",";
    first = false;
    append_item(item, *engine.types, out);
  }
  out += ']';
  return {};
}

struct Arguments {
  std::string expression;
  std::string file;
  bool explain = false;
  bool strict = false;
};

int fail(const Error& error) {
  std::fprintf(stderr, "chartferry fhirpath: %s\n", error.text().c_str());
  return kUsage;
}

int evaluate(const Engine& engine, const Arguments& arguments) {
  json::Document document(engine.catalog->names());
  fhirpath::Options options{.types = engine.types.get()};
  options.strict = arguments.strict;
  fhirpath::Item focus;
  if (!arguments.file.empty()) {
    const Result<std::string> bytes = read_file(arguments.file);
    if (!bytes) {
      return fail(bytes.error());
    }
    if (const Result<void> parsed = document.parse(*bytes); !parsed) {
      return fail({parsed.error().code, parsed.error().detail,
                   arguments.file + ":" + parsed.error().where});
    }
    focus = engine.types->resource(*document.root());
    options.context_type = focus.type;
  }
  const Result<fhirpath::Expression> expression = fhirpath::compile(arguments.expression, options);
  if (!expression) {
    return fail(expression.error());
  }
  const TalkingHost host(*engine.catalog, *engine.types, arguments.explain);
  if (arguments.explain) {
    std::printf("parsed as\n%ssteps\n", expression->tree().c_str());
  }
  fhirpath::Workspace workspace;
  fhirpath::Context context;
  if (!focus.is_nothing()) {
    context.focus = {&focus, 1};
  }
  context.host = &host;
  context.now = engine.now;
  const Result<fhirpath::Items> result = expression->evaluate(context, workspace);
  if (!result) {
    return fail(result.error());
  }
  if (arguments.explain) {
    std::printf("result\n");
  }
  for (const fhirpath::Item& item : *result) {
    std::printf("%s\t%s\n", for_stdout(fhirpath::to_text(item)).c_str(),
                fhirpath::type_text(item, engine.types.get()).c_str());
  }
  return kOk;
}

}  // namespace

int run_fhirpath(int argc, char** argv) {
  CLI::App app(
      "Evaluates a FHIRPath expression on a resource and prints one item a line: value, tab, "
      "type.",
      "chartferry fhirpath");
  Arguments arguments;
  bool batch = false;
  app.add_option("expression", arguments.expression, "the expression");
  app.add_option("file", arguments.file, "the resource as JSON; - is standard input");
  app.add_flag("--explain", arguments.explain, "show how it was read and what each step gave");
  app.add_flag("--strict", arguments.strict, "refuse elements that the resource's type lacks");
  app.add_flag("--batch", batch,
               "answer JSON lines: {\"id\",\"expression\",\"resource\",\"mode\"}");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? kOk : kUsage;
  }
  if (!batch && arguments.expression.empty()) {
    std::fprintf(stderr, "chartferry fhirpath: an expression is expected; --help explains\n");
    return kUsage;
  }
  const Result<Engine> engine = start();
  if (!engine) {
    return fail(engine.error());
  }
  if (!batch) {
    return evaluate(*engine, arguments);
  }
  const CatalogHost host(*engine->catalog);
  fhirpath::Workspace workspace;
  return run_batch(engine->catalog->names(),
                   [&engine, &host, &workspace](const json::Node& request, std::string& out) {
                     return answer(*engine, host, request, workspace, out);
                   });
}

}  // namespace engine::cli

// An expression on a patient, an observation and nothing: no crash, and what is promised holds.
// Longer inputs are cut: they cost time and reach no other code. links: engine_fhirpath

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <fstream>
#include <memory>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/check.h"
#include "engine/fhirpath/fhirpath.h"
#include "engine/shapes/catalog.h"

namespace {

using engine::fhirpath::Context;
using engine::fhirpath::Expression;
using engine::fhirpath::Item;
using engine::fhirpath::Items;
using engine::fhirpath::Options;
using engine::fhirpath::Types;
using engine::fhirpath::Workspace;

constexpr std::size_t kInputBytesMax = 1'000;

std::string read(const char* path) {
  std::ostringstream text;
  text << std::ifstream(path, std::ios::binary).rdbuf();
  return text.str();
}

struct World {
  std::unique_ptr<engine::shapes::Catalog> catalog;
  std::unique_ptr<Types> types;
  std::vector<std::unique_ptr<engine::json::Document>> documents;
  std::vector<Item> focuses;

  World() {
    const std::vector<engine::base::SourceFile> files = {
        {"r4/types.facts", read("profiles/r4/types.facts")}};
    auto loaded = engine::shapes::Catalog::load(files);
    ENGINE_CHECK(loaded.has_value());
    catalog = std::move(*loaded);
    catalog->freeze();
    types = std::make_unique<Types>(catalog->types(), catalog->names());
    for (const char* path :
         {"tests/bench/resources/patient.json", "tests/bench/resources/observation.json"}) {
      documents.push_back(std::make_unique<engine::json::Document>(catalog->names()));
      ENGINE_CHECK(documents.back()->parse(read(path)).has_value());
      focuses.push_back(types->resource(*documents.back()->root()));
    }
    focuses.emplace_back();
  }
};

// The printed result, or the error.
std::string evaluate(const Expression& expression, const Item& focus, Workspace& workspace) {
  workspace.reset();
  Context context;
  if (!focus.is_nothing()) {
    context.focus = {&focus, 1};
  }
  context.now = "2026-03-02T08:10:30.250+01:00";
  const auto result = expression.evaluate(context, workspace);
  if (!result) {
    ENGINE_CHECK(!result.error().where.empty() ||
                 result.error().code == engine::base::ErrorCode::kLimit);
    return result.error().text();
  }
  std::string out;
  for (const Item& item : *result) {
    ENGINE_CHECK(!item.is_nothing());
    out += engine::fhirpath::to_text(item);
    out += '\n';
  }
  return out;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const World world;
  static Workspace workspace;
  const std::string_view text(reinterpret_cast<const char*>(data), std::min(size, kInputBytesMax));

  const auto prefix = engine::fhirpath::parse_prefix(text);
  ENGINE_CHECK(!prefix || *prefix <= text.size());
  for (const Item& focus : world.focuses) {
    Options options{.types = world.types.get()};
    options.context_type = focus.type;
    const auto lenient = engine::fhirpath::compile(text, options);
    options.strict = true;
    const auto strict = engine::fhirpath::compile(text, options);
    ENGINE_CHECK(lenient.has_value() || !strict.has_value());
    if (!lenient) {
      ENGINE_CHECK(!lenient.error().where.empty());
      continue;
    }
    ENGINE_CHECK(prefix.has_value());
    (void)lenient->tree();
    const std::string once = evaluate(*lenient, focus, workspace);
    ENGINE_CHECK(once == evaluate(*lenient, focus, workspace));
  }
  return 0;
}

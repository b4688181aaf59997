// The mapping language: any text is read or refused with a place; what is read survives the way to
// StructureMap JSON and back; a set that compiles runs on any source within its limits. links:
// engine_mapping
//
// The types are R4's when the run starts at the top of the source tree, otherwise nothing compiles
// and the parser alone is exercised.

#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <memory>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/mapping/lint.h"
#include "engine/mapping/mapping.h"
#include "engine/mapping/parse.h"
#include "engine/mapping/structure_map.h"
#include "engine/shapes/catalog.h"

namespace {

using namespace engine;

const shapes::Catalog* catalog() {
  static const std::unique_ptr<shapes::Catalog> loaded = []() -> std::unique_ptr<shapes::Catalog> {
    std::vector<base::SourceFile> files;
    std::error_code none;
    for (const auto& entry : std::filesystem::directory_iterator("profiles/r4", none)) {
      if (entry.path().extension() == ".facts") {
        std::ifstream file(entry.path(), std::ios::binary);
        std::stringstream text;
        text << file.rdbuf();
        files.push_back({entry.path().filename().string(), text.str()});
      }
    }
    if (files.empty()) {
      return nullptr;
    }
    base::Result<std::unique_ptr<shapes::Catalog>> made = shapes::Catalog::load(files);
    if (!made) {
      std::abort();
    }
    (*made)->freeze();
    return std::move(*made);
  }();
  return loaded.get();
}

constexpr std::string_view kSource = R"({"resourceType":"Patient","id":"p","active":true,
  "gender":"male","_gender":{"extension":[{"url":"u","valueString":"x"}]},"birthDate":"2000-01-31",
  "name":[{"family":"a","given":["b",null,"c"],"_given":[null,{"id":"i"},null]},{"text":"d"}],
  "contact":[{"name":{"family":"e"}}],"multipleBirthInteger":2})";

void round_trip(const mapping::Map& map) {
  const base::Result<std::string> out = mapping::write_structure_map(map);
  if (!out) {
    return;
  }
  json::NameTable names;
  json::Document document(names);
  if (!document.parse(*out)) {
    return;  // nested deeper than JSON documents may be
  }
  const base::Result<mapping::Map> back = mapping::read_structure_map(*document.root(), "f");
  if (!back) {
    return;  // a name that the text has and the resource may not leave empty
  }
  const base::Result<std::string> again = mapping::write_structure_map(*back);
  if (!again || *again != *out) {
    std::fprintf(stderr, "%s\nand again\n%s\n", out->c_str(),
                 again ? again->c_str() : again.error().text().c_str());
    std::abort();
  }
}

void run_first_group(const mapping::MapSet& maps) {
  const mapping::GroupInfo& group = maps.maps()[0].groups[0];
  json::Document source(catalog()->names());
  if (!source.parse(kSource)) {
    std::abort();
  }
  json::Document output(catalog()->names());
  std::vector<mapping::Binding> bindings;
  json::Node* target = nullptr;
  for (const mapping::InputInfo& input : group.inputs) {
    if (input.is_source) {
      bindings.push_back(mapping::Binding::of_source(*source.root()));
    } else {
      target = output.make_object();
      bindings.push_back(mapping::Binding::of_target(*target, input.type_id));
    }
  }
  mapping::RunOptions options;
  options.uuid_seed = "fuzz";
  mapping::Run run(maps, output, options);
  if (!run.call(group.id, bindings) || target == nullptr) {
    return;
  }
  run.finish();
  std::string lineage;
  mapping::write_lineage(run, *target, lineage);
  json::Document again(catalog()->names());
  if (!again.parse(lineage)) {
    std::abort();
  }
}

}  // namespace

// Before the first input, which would otherwise be reported as one that takes ten seconds.
extern "C" int LLVMFuzzerInitialize(int*, char***) {
  catalog();
  return 0;
}

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  // Longer maps cost time and reach nothing that short ones do not.
  constexpr std::size_t kBytesMax = 4'096;
  if (size > kBytesMax) {
    return 0;
  }
  const std::string text(reinterpret_cast<const char*>(data), size);
  const base::Result<mapping::Map> map = mapping::parse_map(text, "f.map");
  if (!map) {
    if (map.error().where.empty()) {
      std::abort();
    }
    return 0;
  }
  round_trip(*map);
  if (catalog() == nullptr) {
    return 0;
  }
  const std::vector<base::SourceFile> files = {{"f.map", text}};
  const base::Result<std::unique_ptr<mapping::MapSet>> maps =
      mapping::MapSet::load(files, *catalog());
  if (maps) {
    mapping::lint(**maps);
    run_first_group(**maps);
  }
  return 0;
}

// The package reader, the reader of definitions, snapshot generation and the fact reader on hostile
// bytes. The first byte chooses what the rest is.
// links: engine_shapes engine_fhir engine_json engine_base

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <vector>

#include "engine/shapes/catalog.h"
#include "engine/shapes/facts.h"
#include "engine/shapes/package.h"

namespace {

using engine::base::SourceFile;
using engine::shapes::Catalog;

// Enough of R4's shape for profiles, slices, choices, references to content, and walking into
// types.
constexpr const char* kSmallBase = R"(facts 1
package base.example#1.0.0
shape http://hl7.org/fhir/StructureDefinition/Element
  is complex-type Element type abstract
  name Element
  e Element 0..* -
  e Element.id 0..1 - System.String
  e Element.extension 0..* - Extension
    slicing open value:url
shape http://hl7.org/fhir/StructureDefinition/Extension
  is complex-type Extension type
  name Extension
  base http://hl7.org/fhir/StructureDefinition/Element
  e Extension 0..* -
  e Extension.id 0..1 - System.String
  e Extension.extension 0..* - Extension
    slicing open value:url
  e Extension.url 1..1 - System.String
  e Extension.value[x] 0..1 - string Coding
shape http://hl7.org/fhir/StructureDefinition/string
  is primitive-type string type
  name string
  base http://hl7.org/fhir/StructureDefinition/Element
  e string 0..* -
  e string.id 0..1 - System.String
  e string.extension 0..* - Extension
    slicing open value:url
  e string.value 0..1 - System.String
shape http://hl7.org/fhir/StructureDefinition/Coding
  is complex-type Coding type
  name Coding
  base http://hl7.org/fhir/StructureDefinition/Element
  e Coding 0..* -
  e Coding.id 0..1 - System.String
  e Coding.extension 0..* - Extension
    slicing open value:url
  e Coding.system 0..1 - string
  e Coding.code 0..1 - string
shape http://hl7.org/fhir/StructureDefinition/BackboneElement
  is complex-type BackboneElement type abstract
  name BackboneElement
  base http://hl7.org/fhir/StructureDefinition/Element
  e BackboneElement 0..* -
  e BackboneElement.id 0..1 - System.String
  e BackboneElement.extension 0..* - Extension
    slicing open value:url
shape http://hl7.org/fhir/StructureDefinition/Thing
  is resource Thing type
  name Thing
  e Thing 0..* -
  e Thing.code 1..1 S Coding
    binding required http://x/vs
  e Thing.value[x] 0..1 - string Coding
  e Thing.part 0..* - BackboneElement
  e Thing.part.id 0..1 - System.String
  e Thing.part.extension 0..* - Extension
    slicing open value:url
  e Thing.part.name 0..1 - string
  e Thing.part.part 0..*
    content #Thing.part
)";

void add_definitions(const std::string& text) {
  static const std::vector<SourceFile> base{{"base.facts", kSmallBase}};
  auto catalog = Catalog::load(std::span<const SourceFile>(base));
  if (!catalog) {
    std::abort();  // the base above is ours
  }
  const SourceFile file{"x.json", text};
  static_cast<void>((*catalog)->add({&file, 1}));
  static_cast<void>((*catalog)->find_shape("http://x/p"));
  (*catalog)->freeze();
}

void read_facts_twice(const std::string& text) {
  engine::base::Arena texts;
  const auto facts = engine::shapes::read_facts("x", text, texts);
  if (!facts) {
    return;
  }
  // Whatever was readable stays readable and no longer changes.
  const std::string printed = engine::shapes::print_facts(*facts);
  engine::base::Arena again_texts;
  const auto again = engine::shapes::read_facts("x", printed, again_texts);
  if (!again || engine::shapes::print_facts(*again) != printed) {
    std::abort();
  }
  const SourceFile file{"x.facts", text};
  static_cast<void>(Catalog::load(std::span<const SourceFile>(&file, 1)));
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) {
    return 0;
  }
  const std::string text(reinterpret_cast<const char*>(data) + 1, size - 1);
  switch (data[0] % 3) {
    case 0:
      if (const auto package = engine::shapes::read_package(text)) {
        static_cast<void>(engine::shapes::index_package(*package));
      }
      break;
    case 1:
      add_definitions(text);
      break;
    default:
      read_facts_twice(text);
      break;
  }
  return 0;
}

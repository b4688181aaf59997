// Snapshots generated from the differentials of published packages, compared element by element
// with the snapshots that came with them. Skipped where the packages are not at hand.

#include <algorithm>
#include <cstdio>
#include <map>
#include <set>
#include <string>

#include <gtest/gtest.h>

#include "engine/shapes/definition.h"
#include "engine/shapes/definition_set.h"
#include "engine/shapes/package.h"
#include "engine/shapes/words.h"
#include "tests/shapes/published_facts.h"

namespace engine::shapes {
namespace {

std::string types_text(const ElementFacts& element) {
  std::multiset<std::string> all;
  for (const TypeFact& type : element.types) {
    std::string text(type.code);
    for (const std::string_view profile : type.profiles) {
      text += "<" + std::string(profile);
    }
    std::set<std::string_view> targets(type.targets.begin(), type.targets.end());
    for (const std::string_view target : targets) {
      text += ">" + std::string(target);
    }
    all.insert(text);
  }
  std::string text;
  for (const std::string& one : all) {
    text += one + " ";
  }
  return text;
}

std::string slicing_text(const SlicingFact& slicing) {
  if (!slicing.present) {
    return "";
  }
  std::string text(word_of(kRulesWords, slicing.rules));
  text += slicing.ordered ? " ordered" : "";
  for (const DiscriminatorFact& discriminator : slicing.discriminators) {
    text += " " + std::string(word_of(kDiscriminatorWords, discriminator.kind)) + ":" +
            std::string(discriminator.path);
  }
  return text;
}

std::string keys_text(const ElementFacts& element) {
  std::set<std::string_view> keys;
  for (const ConstraintFact& constraint : element.constraints) {
    // Invariants of every element and every extension are kept at the root of their types only.
    if (constraint.key != "ele-1" && constraint.key != "ext-1") {
      keys.insert(constraint.key);
    }
  }
  std::string text;
  for (const std::string_view key : keys) {
    text += std::string(key) + " ";
  }
  return text;
}

// What is compared, by name.
std::map<std::string, std::string> aspects(const ElementFacts& e) {
  std::map<std::string, std::string> all;
  all["path"] = e.path;
  all["min"] = std::to_string(e.min);
  all["max"] = bound_text(e.max);
  all["types"] = types_text(e);
  all["binding"] = e.binding.present ? std::string(word_of(kStrengthWords, e.binding.strength)) +
                                           " " + std::string(e.binding.value_set)
                                     : "";
  all["fixed"] = std::string(e.fixed.type) + " " + std::string(e.fixed.json);
  all["pattern"] = std::string(e.pattern.type) + " " + std::string(e.pattern.json);
  all["constraints"] = keys_text(e);
  all["slicing"] = slicing_text(e.slicing);
  all["slice name"] = e.slice_name;
  all["must support"] = e.must_support ? "yes" : "no";
  all["content reference"] = e.content_reference;
  return all;
}

struct Comparison {
  std::size_t definitions = 0;
  std::size_t elements = 0;
  std::size_t equal = 0;
  std::size_t silent = 0;  // listed only there, and saying no more than the element's type says
  std::map<std::string, std::size_t> differences;  // by aspect
  std::map<std::string, std::string> differing;    // "url element aspect" -> text
};

// Whether a published element below an extension repeats what the type Extension says anyway.
bool says_nothing(const ElementFacts& element) {
  const std::string_view name = element.path.substr(element.path.rfind('.') + 1);
  const Shape* extension = r4().find_shape("http://hl7.org/fhir/StructureDefinition/Extension");
  base::Arena texts;
  for (const ElementFacts& plain : facts_of(*extension, r4(), texts).elements) {
    if (plain.path == "Extension." + std::string(name)) {
      auto ours = aspects(plain);
      auto theirs = aspects(element);
      ours.erase("path");
      theirs.erase("path");
      return ours == theirs && element.path.find("xtension.") != std::string_view::npos;
    }
  }
  return false;
}

void compare(const ShapeFacts& generated, const ShapeFacts& published, Comparison& result) {
  std::map<std::string_view, const ElementFacts*> by_id;
  for (const ElementFacts& element : generated.elements) {
    by_id[element.id] = &element;
  }
  auto differ = [&](const ElementFacts& element, const std::string& aspect,
                    const std::string& text) {
    ++result.differences[aspect];
    result.differing[std::string(published.url) + " " + std::string(element.id) + " " + aspect] =
        text;
  };
  ++result.definitions;
  for (const ElementFacts& element : published.elements) {
    ++result.elements;
    const auto found = by_id.find(element.id);
    if (found == by_id.end() && says_nothing(element)) {
      ++result.silent;
      continue;
    }
    if (found == by_id.end()) {
      differ(element, "missing", "");
      continue;
    }
    const auto ours = aspects(*found->second);
    bool same = true;
    for (const auto& [aspect, text] : aspects(element)) {
      if (ours.at(aspect) != text) {
        same = false;
        differ(element, aspect, "ours [" + ours.at(aspect) + "] published [" + text + "]");
      }
    }
    result.equal += same ? 1 : 0;
    by_id.erase(found);
  }
  for (const auto& [id, element] : by_id) {
    differ(*element, "extra", "");
  }
}

Comparison compare_package(const std::string& path, const Catalog& known) {
  Comparison result;
  const std::string bytes = file_bytes(path);
  base::Result<FhirPackage> package = read_package(bytes);
  EXPECT_TRUE(package.has_value()) << path;
  if (!package) {
    return result;
  }
  base::Arena texts;
  DefinitionSet definitions(known, texts, package->id());
  definitions.ignore_published_snapshots();
  json::Document document(known.names());
  for (const base::SourceFile& file : package->files) {
    if (file.name.starts_with("StructureDefinition-")) {
      definitions.add(file.name, file.bytes, package->version);
    }
  }
  for (const base::SourceFile& file : package->files) {
    if (!file.name.starts_with("StructureDefinition-") || !document.parse(file.bytes) ||
        document.root()->string_at("derivation") != "constraint" ||
        !has_elements(*document.root(), ElementList::kSnapshot)) {
      continue;
    }
    base::Result<ShapeFacts> published =
        read_structure(*document.root(), ElementList::kSnapshot, texts);
    base::Result<const ShapeFacts*> generated =
        definitions.snapshot_of(document.root()->string_at("url"));
    EXPECT_TRUE(published.has_value()) << file.name;
    // R4's codesystem-history demands extensions that it forbids one line earlier.
    if (file.name == "StructureDefinition-codesystem-history.json") {
      EXPECT_FALSE(generated.has_value());
      continue;
    }
    EXPECT_TRUE(generated.has_value())
        << file.name << ": " << (generated ? "" : generated.error().text());
    if (published && generated && *generated != nullptr) {
      compare(**generated, *published, result);
    }
  }
  return result;
}

void print(const char* name, const Comparison& result) {
  std::printf(
      "%s: %zu definitions, %zu elements, %zu equal, %zu that say nothing listed only there", name,
      result.definitions, result.elements, result.equal, result.silent);
  for (const auto& [aspect, count] : result.differences) {
    std::printf(", %s %zu", aspect.c_str(), count);
  }
  std::printf("\n");
  if (std::getenv("SNAPSHOT_DIFFERENCES") != nullptr) {
    for (const auto& [where, text] : result.differing) {
      std::printf("  %s %s\n", where.c_str(), text.c_str());
    }
  }
}

// Where a published snapshot is not what its differential and its base say.
bool is_known_slip(const std::string& where) {
  static const std::pair<const char*, const char*> kSlips[] = {
      // A content reference names the element, never a slice of it (R4 ElementDefinition).
      {"us-core-provenance Provenance.entity.agent content reference", "slice in a reference"},
      {"provenance-relevant-history Provenance.entity.agent content reference",
       "slice in a reference"},
      // The children of an extension's own definition, repeated in the element that uses it.
      {"elementdefinition-de ElementDefinition.extension:AllowedUnits.", "inlined extension"},
      {"elementdefinition-de ElementDefinition.extension:Question.", "inlined extension"}};
  return std::any_of(std::begin(kSlips), std::end(kSlips),
                     [&](const auto& slip) { return where.find(slip.first) != std::string::npos; });
}

void expect_equal(const Comparison& result) {
  for (const auto& [where, text] : result.differing) {
    EXPECT_TRUE(is_known_slip(where)) << where << " " << text;
  }
}

TEST(PublishedSnapshots, OfUsCoreAreReproduced) {
  const std::string path = "../shared/fhir/hl7.fhir.us.core-3.1.0.tgz";
  if (file_bytes(path).empty()) {
    GTEST_SKIP() << path << " is not at hand";
  }
  const Comparison result = compare_package(path, r4());
  print("US Core 3.1.0", result);
  EXPECT_EQ(result.definitions, 29U);
  EXPECT_GE(result.equal, 1'421U);
  expect_equal(result);
}

TEST(PublishedSnapshots, OfTheCorePackageAreReproduced) {
  const std::string path = "../shared/fhir/hl7.fhir.r4.core-4.0.1.tgz";
  if (file_bytes(path).empty()) {
    GTEST_SKIP() << path << " is not at hand";
  }
  const base::Result<std::unique_ptr<Catalog>> empty =
      Catalog::load(std::span<const base::SourceFile>());
  ASSERT_TRUE(empty.has_value());
  const Comparison result = compare_package(path, **empty);
  print("R4 core profiles", result);
  EXPECT_EQ(result.definitions, 441U);
  EXPECT_GE(result.equal, 5'205U);
  expect_equal(result);
}

// US Core 9.0.0 comes without snapshots; one profile stands on a package that is not at hand.
TEST(PublishedSnapshots, UsCoreWithoutSnapshotsIsGenerated) {
  const std::string bytes = file_bytes("../shared/fhir/hl7.fhir.us.core-current.tgz");
  if (bytes.empty()) {
    GTEST_SKIP() << "the package is not at hand";
  }
  const base::Result<FhirPackage> package = read_package(bytes);
  ASSERT_TRUE(package.has_value());
  base::Arena texts;
  DefinitionSet definitions(r4(), texts, package->id());
  for (const base::SourceFile& file : package->files) {
    definitions.add(file.name, file.bytes, package->version);
  }
  const FactSet facts = definitions.facts();
  EXPECT_EQ(definitions.structures(), 70U);
  EXPECT_EQ(facts.shapes.size(), 69U);
  std::size_t elements = 0;
  for (const ShapeFacts& shape : facts.shapes) {
    elements += shape.elements.size();
  }
  std::printf("US Core 9.0.0: %zu snapshots, %zu elements\n", facts.shapes.size(), elements);
  for (const fhir::Issue& issue : definitions.issues()) {
    if (issue.severity == fhir::Severity::kError) {
      EXPECT_NE(issue.text.find("sdc-questionnaireresponse is not known"), std::string::npos)
          << issue.text;
    }
  }
}

}  // namespace
}  // namespace engine::shapes

// What the checker relies on, for definitions of FHIR R4 4.0.1 whose content is known: vitalsigns,
// oxygensat, bp (vital-sign profiles of the core package), Questionnaire, Patient.

#include <gtest/gtest.h>

#include "engine/json/write.h"
#include "engine/shapes/facts.h"
#include "tests/shapes/published_facts.h"

namespace engine::shapes {
namespace {

const Shape& shape(const std::string& name) {
  const Shape* found = r4().find_shape("http://hl7.org/fhir/StructureDefinition/" + name);
  EXPECT_NE(found, nullptr) << name;
  return *found;
}

const ShapeElement& element(const Shape& in, std::string_view id) {
  for (const ShapeElement& candidate : in.elements) {
    if (candidate.id == id) {
      return candidate;
    }
  }
  ADD_FAILURE() << "no element " << id;
  return in.root();
}

// Walks the tables as a checker does: member by member, by index alone.
const ShapeElement* walk(const Shape& from, std::initializer_list<const char*> members) {
  const ShapeElement* at = &from.root();
  TypeId type = from.type;
  for (const char* name : members) {
    const Member* member = r4().types().member(type, r4().names().find(name));
    if (member == nullptr || at == nullptr || !at->has_children()) {
      return nullptr;
    }
    const auto choice = static_cast<std::size_t>(
        member - r4().types().info(type).elements[member->element].members.data());
    const ShapeElement* child = at->child(member->element);
    const TypeRef* ref = child->type_of(choice);
    if (ref == nullptr) {
      return nullptr;
    }
    type = ref->type;
    at = ref->inner != nullptr ? ref->inner : child;
  }
  return at;
}

std::string keys(std::span<const ConstraintId> ids) {
  std::string text;
  for (const ConstraintId id : ids) {
    text += std::string(r4().constraint(id).key) + " ";
  }
  return text;
}

TEST(CompiledShapes, EveryElementWithChildrenHasAllOfThem) {
  std::size_t elements = 0;
  for (const Shape* each : r4().shapes()) {
    for (const ShapeElement& candidate : each->elements) {
      ++elements;
      if (!candidate.has_children()) {
        continue;
      }
      ASSERT_EQ(candidate.children.size(),
                r4().types().info(candidate.children_type).elements.size())
          << candidate.id;
      for (std::size_t i = 0; i < candidate.children.size(); ++i) {
        ASSERT_NE(candidate.children[i], nullptr) << each->url << " " << candidate.id << " " << i;
        EXPECT_EQ(candidate.children[i]->stem,
                  r4().types().info(candidate.children_type).elements[i].stem);
      }
    }
  }
  EXPECT_GT(elements, 13'000U);
}

TEST(CompiledShapes, EveryTypeAndResourceHasOne) {
  for (const char* name : {"Observation", "Procedure", "Bundle", "Quantity", "string", "Extension",
                           "Resource", "xhtml", "Timing", "Age"}) {
    const auto type = r4().types().find(name);
    ASSERT_TRUE(type.has_value()) << name;
    ASSERT_NE(r4().base_shape(*type), nullptr) << name;
    EXPECT_FALSE(r4().base_shape(*type)->is_profile);
  }
  EXPECT_EQ(r4().base_shape(*r4().types().find("Observation.component")), nullptr);
  EXPECT_EQ(r4().base_shape(kNoType), nullptr);
}

TEST(CompiledShapes, MembersLeadToTheirConstraintsByIndex) {
  const Shape& bp = shape("bp");
  EXPECT_NE(walk(bp, {"code", "coding", "system"}), nullptr);
  EXPECT_NE(walk(bp, {"component", "valueQuantity", "unit"}), nullptr);
  EXPECT_EQ(walk(shape("oxygensat"), {"valueString"}), nullptr);  // narrowed to Quantity
  const ShapeElement* item = walk(shape("Questionnaire"), {"item", "item", "item"});
  ASSERT_NE(item, nullptr);  // a content reference is followed for ever
  EXPECT_EQ(item->id, "Questionnaire.item");
}

TEST(CompiledShapes, OxygenSaturationIsSlicedByItsCode) {
  const Shape& saturation = shape("oxygensat");
  const ShapeElement& coding = element(saturation, "Observation.code.coding");
  ASSERT_NE(coding.slicing, nullptr);
  ASSERT_EQ(coding.slicing->slices.size(), 1U);
  const Slice& slice = coding.slicing->slices[0];
  EXPECT_EQ(slice.element->slice_name, "OxygenSatCode");
  EXPECT_EQ(slice.element->min, 1U);
  ASSERT_EQ(slice.tests.size(), 2U);
  EXPECT_EQ(slice.tests[0].kind, SliceTest::Kind::kFixed);
  EXPECT_EQ(json::to_text(*slice.tests[0].value), "\"2708-6\"");  // LOINC, oxygensat profile
  EXPECT_EQ(json::to_text(*slice.tests[1].value), "\"http://loinc.org\"");
}

TEST(CompiledShapes, ADiscriminatorRunsThroughNestedSlices) {
  // bp slices components by code.coding.code, which a slice of coding below fixes.
  const ShapeElement& component = element(shape("bp"), "Observation.component");
  ASSERT_NE(component.slicing, nullptr);
  ASSERT_EQ(component.slicing->slices.size(), 2U);
  const Slice& systolic = component.slicing->slices[0];
  EXPECT_EQ(systolic.element->slice_name, "SystolicBP");
  ASSERT_GE(systolic.tests.size(), 2U);
  EXPECT_EQ(systolic.tests[0].kind, SliceTest::Kind::kFixed);
  EXPECT_EQ(systolic.tests[0].value->text(), "8480-6");  // LOINC, bp profile
}

TEST(CompiledShapes, TypeSlicesAndExtensionSlicesAreMarked) {
  const ShapeElement& value = element(shape("oxygensat"), "Observation.value[x]");
  ASSERT_NE(value.slicing, nullptr);
  EXPECT_TRUE(value.slicing->by_type);
  EXPECT_EQ(value.slicing->rules, SlicingRules::kClosed);
  EXPECT_EQ(value.slicing->slices[0].tests[0].kind, SliceTest::Kind::kType);
  const ShapeElement& extension = element(shape("observation-genetics"), "Observation.extension");
  ASSERT_NE(extension.slicing, nullptr);
  EXPECT_TRUE(extension.slicing->by_url);
  EXPECT_EQ(extension.slicing->slices[0].extension_url,
            "http://hl7.org/fhir/StructureDefinition/observation-geneticsGene");
}

TEST(CompiledShapes, InvariantsAreNeverRunTwice) {
  const auto observation = *r4().types().find("Observation");
  EXPECT_EQ(keys(r4().type_constraints(observation)), "dom-2 dom-3 dom-4 dom-5 dom-6 obs-6 obs-7 ");
  EXPECT_EQ(keys(r4().type_constraints(*r4().types().find("Observation.component"))), "ele-1 ");
  EXPECT_EQ(keys(shape("oxygensat").root().constraints), "vs-2 ");
  EXPECT_EQ(keys(element(shape("Observation"), "Observation.referenceRange").constraints),
            "obs-3 ");
  for (const Shape* each : r4().shapes()) {
    for (const ShapeElement& candidate : each->elements) {
      for (const ConstraintId id : candidate.constraints) {
        EXPECT_NE(r4().constraint(id).key, "ele-1") << each->url << " " << candidate.id;
      }
    }
  }
}

TEST(CompiledShapes, BindingsLeadToTheirValueSets) {
  const ShapeElement& status = element(shape("Observation"), "Observation.status");
  ASSERT_NE(status.binding, nullptr);
  EXPECT_EQ(status.binding->strength, Strength::kRequired);
  ASSERT_NE(status.binding->value_set, nullptr);
  EXPECT_EQ(status.binding->value_set->contains_code("final"), Membership::kIn);
  EXPECT_EQ(status.binding->value_set->contains_code("finished"), Membership::kOut);
  const ShapeElement& language = element(shape("Observation"), "Observation.language");
  ASSERT_NE(language.binding, nullptr);
  EXPECT_EQ(language.binding->max_canonical, "http://hl7.org/fhir/ValueSet/all-languages");
  // Every required binding can be looked up, but for an answer list that R4 does not publish.
  for (const Shape* each : r4().shapes()) {
    for (const ShapeElement& candidate : each->elements) {
      const Binding* binding = candidate.binding;
      if (binding != nullptr && binding->strength == Strength::kRequired &&
          binding->canonical != "http://loinc.org/vs/LL379-9|4.0.1") {
        EXPECT_NE(binding->value_set, nullptr) << each->url << " " << binding->canonical;
      }
    }
  }
}

TEST(CompiledShapes, ReferencesNameTheirTargets) {
  const ShapeElement& subject = element(shape("oxygensat"), "Observation.subject");
  ASSERT_EQ(subject.types.size(), 1U);
  ASSERT_EQ(subject.types[0].target_profiles.size(), 1U);
  ASSERT_NE(subject.types[0].target_profiles[0].shape, nullptr);
  EXPECT_EQ(subject.types[0].target_profiles[0].shape->name, "Patient");
}

TEST(CompiledShapes, ExtensionsKnowWhereTheyMayStand) {
  const Shape& extension = shape("patient-birthPlace");
  EXPECT_TRUE(extension.is_extension);
  ASSERT_FALSE(extension.contexts.empty());
  EXPECT_EQ(extension.contexts[0].kind, ExtensionContext::Kind::kElement);
  EXPECT_EQ(extension.contexts[0].expression, "Patient");
}

TEST(Canonicals, AreFoundByUrlAndExactVersion) {
  const std::string url = "http://hl7.org/fhir/StructureDefinition/Patient";
  EXPECT_NE(r4().find_shape(url), nullptr);
  EXPECT_NE(r4().find_shape(url + "|4.0.1"), nullptr);
  EXPECT_EQ(r4().find_shape(url + "|4.0"), nullptr);
  EXPECT_EQ(r4().find_shape(url + "|5.0.0"), nullptr);
  EXPECT_EQ(r4().find_shape("http://hl7.org/fhir/StructureDefinition/patient"), nullptr);
  EXPECT_EQ(r4().find_shape(""), nullptr);
}

TEST(Canonicals, WithoutAVersionMeanThePackageFirstThenTheHighest) {
  std::vector<base::SourceFile> files = fact_files("r4");
  for (const char* folder : {"us-core/3.1.0", "us-core/9.0.0"}) {
    for (base::SourceFile& file : fact_files(folder)) {
      files.push_back(std::move(file));
    }
  }
  const auto catalog = Catalog::load(std::span<const base::SourceFile>(files));
  ASSERT_TRUE(catalog.has_value()) << catalog.error().text();
  const std::string url = "http://hl7.org/fhir/us/core/StructureDefinition/us-core-patient";
  EXPECT_EQ((*catalog)->find_shape(url)->version, "9.0.0");
  EXPECT_EQ((*catalog)->find_shape(url + "|3.1.0")->package, "hl7.fhir.us.core#3.1.0");
  EXPECT_EQ((*catalog)->find_shape(url, "hl7.fhir.us.core#3.1.0")->version, "3.1.0");
  // What a package depends on comes before what merely happens to be loaded.
  const Shape* old_goal =
      (*catalog)->find_shape("http://hl7.org/fhir/us/core/StructureDefinition/us-core-goal|3.1.0");
  ASSERT_NE(old_goal, nullptr);
  for (const ShapeElement& candidate : old_goal->elements) {
    if (candidate.id == "Goal.subject") {
      EXPECT_EQ(candidate.types[0].target_profiles[0].shape->version, "3.1.0");
    }
  }
}

TEST(Facts, ReadAndPrintedAgainAreTheSameBytes) {
  for (const char* folder : {"r4", "us-core/3.1.0", "us-core/9.0.0"}) {
    for (const base::SourceFile& file : fact_files(folder)) {
      if (file.name.ends_with("exceptions.facts")) {
        continue;  // written by hand, never printed
      }
      base::Arena texts;
      const base::Result<FactSet> facts = read_facts(file.name, file.bytes, texts);
      ASSERT_TRUE(facts.has_value()) << facts.error().text();
      EXPECT_TRUE(print_facts(*facts) == file.bytes) << file.name;
    }
  }
}

TEST(Facts, ThatAreNotOursAreRefusedWithTheirLine) {
  const struct {
    const char* text;
    const char* where;
  } rows[] = {
      {"", "x"},
      {"facts 2\n", "x:1"},
      {"{}\n", "x:1"},
      {"facts 1\nshape\n", "x:2"},
      {"facts 1\nnonsense http://a\n", "x:2"},
      {"facts 1\n  e Patient 0..1 -\n", "x:2"},
      {"facts 1\nshape http://a\n  e Patient 0-1 -\n", "x:3"},
      {"facts 1\nshape http://a\n  e Patient 0..1 -\n    inv nope-1\n", "x:4"},
      {"facts 1\nshape http://a\n  is planet Patient type\n", "x:3"},
      {"facts 1\nshape http://a\n    fixed uri \"a\"\n", "x:3"},
      {"facts 1\ncodesystem http://a complete\n  c\n", "x:3"},
      {"facts 1\nvalueset http://a\n    code\n", "x:3"},
      {"facts 1\n x\n", "x:2"},
      // Readable once, they would print as something else.
      {"facts 1\nshape http://a\n", "x:2"},
      {"facts 1\nshape http://a\nshape http://b\n  is resource B type\n", "x:3"},
      {"facts 1\nshape http://a\n  name A\n  e A 0..* -\n", "x:4"},
      {"facts 1\ninvariant #2 error - true\n", "x:2"},
      {"facts 1\ninvariant a-1 error - a\tor b\n", "x:2"},
      {"facts 1\npackage a#1\r\n", "x:2"},
      {"facts 1\nshape http://a\n  is resource A type\n  e A *..* -\n", "x:4"},
      {"facts 1\nshape http://a\n  is resource A type\n  e A 0..* -\n    max-length *\n", "x:5"},
      {"facts 1\ncodesystem http://a complete\n  below p  \n", "x:3"},
      {"facts 1\ncodesystem http://a complete\n  below p c d\n", "x:3"}};
  for (const auto& row : rows) {
    base::Arena texts;
    const base::Result<FactSet> facts = read_facts("x", row.text, texts);
    ASSERT_FALSE(facts.has_value()) << row.text;
    EXPECT_EQ(facts.error().where, row.where) << row.text;
  }
}

}  // namespace
}  // namespace engine::shapes

// Facts of FHIR R4 (4.0.1), read from the published definitions by hand.

#include "engine/shapes/types.h"

#include <gtest/gtest.h>

#include "tests/shapes/published_facts.h"

namespace engine::shapes {
namespace {

const TypeModel& types() {
  return r4().types();
}

TypeId id_of(std::string_view name) {
  return types().find(name).value_or(kNoType);
}

const Member* member(std::string_view type, std::string_view name) {
  const json::Name* known = r4().names().find(name);
  return known == nullptr ? nullptr : types().member(id_of(type), known);
}

TEST(TypeModel, KnowsTypesByEveryName) {
  for (const char* name :
       {"Patient", "FHIR.Patient", "Observation.component", "code", "System.String", "Quantity",
        "Timing.repeat", "http://hl7.org/fhir/StructureDefinition/Patient"}) {
    EXPECT_TRUE(types().find(name).has_value()) << name;
  }
  for (const char* name : {"patient", "FHIR.String", "Observation.nothing", "", "System.Patient"}) {
    EXPECT_FALSE(types().find(name).has_value()) << name;
  }
  EXPECT_EQ(types().info(id_of("String")).name, "System.String");
  EXPECT_EQ(types().info(id_of("string")).kind, TypeKind::kPrimitive);
}

TEST(TypeModel, FollowsTheHierarchy) {
  const struct {
    const char* type;
    const char* base;
    bool expected;
  } rows[] = {{"Patient", "DomainResource", true},
              {"Patient", "Resource", true},
              {"Bundle", "DomainResource", false},
              {"Bundle", "Resource", true},
              {"Age", "Quantity", true},
              {"Age", "Element", true},
              {"Quantity", "Age", false},
              {"code", "string", true},
              {"id", "string", true},
              {"uuid", "uri", true},
              {"positiveInt", "integer", true},
              {"Observation.component", "BackboneElement", true},
              {"Observation.component", "Element", true},
              {"Timing.repeat", "Element", true},
              {"Timing.repeat", "BackboneElement", false},
              {"Timing", "BackboneElement", true},
              {"Patient", "Element", false},
              {"System.String", "string", false}};
  for (const auto& row : rows) {
    EXPECT_EQ(types().is_a(id_of(row.type), id_of(row.base)), row.expected)
        << row.type << " is a " << row.base;
  }
}

TEST(TypeModel, ListsTheMembersOfAChoice) {
  const Element* value = types().element(id_of("Observation"), r4().names().find("value"));
  ASSERT_NE(value, nullptr);
  EXPECT_TRUE(value->choice);
  EXPECT_FALSE(value->repeats);
  std::string names;
  for (const Member& item : value->members) {
    names += std::string(item.name->text) + " ";
  }
  // FHIR R4 Observation.value[x].
  EXPECT_EQ(names,
            "valueQuantity valueCodeableConcept valueString valueBoolean valueInteger valueRange "
            "valueRatio valueSampledData valueTime valueDateTime valuePeriod ");
}

TEST(TypeModel, FindsMembersByName) {
  const struct {
    const char* type;
    const char* name;
    const char* value_type;  // nullptr: no such member
  } rows[] = {{"Observation", "valueQuantity", "Quantity"},
              {"Observation", "_valueString", "string"},
              {"Observation", "component", "Observation.component"},
              {"Observation", "contained", "Resource"},
              {"Observation.component", "referenceRange", "Observation.referenceRange"},
              {"Questionnaire.item", "item", "Questionnaire.item"},
              {"Patient", "birthDate", "date"},
              {"Patient", "_birthDate", "date"},
              {"Patient", "id", "System.String"},
              {"Patient", "deceasedBoolean", "boolean"},
              {"Parameters.parameter", "part", "Parameters.parameter"},
              {"string", "extension", "Extension"},
              {"Narrative", "div", "xhtml"},
              {"Observation", "value", nullptr},
              {"Observation", "valueAge", nullptr},
              {"Observation", "_valueQuantity", nullptr},
              {"Patient", "_id", nullptr},
              {"Extension", "_url", nullptr},
              {"string", "value", nullptr},
              {"Patient", "resourceType", nullptr}};
  for (const auto& row : rows) {
    const Member* found = member(row.type, row.name);
    ASSERT_EQ(found != nullptr, row.value_type != nullptr) << row.type << "." << row.name;
    if (found != nullptr) {
      EXPECT_EQ(types().info(found->type).name, row.value_type) << row.type << "." << row.name;
      EXPECT_LT(found->element, types().info(id_of(row.type)).elements.size());
    }
  }
}

TEST(TypeModel, TellsWhatRepeats) {
  const struct {
    const char* type;
    const char* stem;
    bool repeats;
  } rows[] = {{"Patient", "name", true},      {"Patient", "gender", false},
              {"HumanName", "given", true},   {"Observation", "category", true},
              {"Bundle.entry", "link", true}, {"Timing", "event", true},
              {"Dosage", "site", false}};
  for (const auto& row : rows) {
    const Element* element = types().element(id_of(row.type), r4().names().find(row.stem));
    ASSERT_NE(element, nullptr) << row.stem;
    EXPECT_EQ(element->repeats, row.repeats) << row.type << "." << row.stem;
  }
}

TEST(TypeModel, PutsInheritedElementsFirst) {
  const auto elements = types().info(id_of("Observation")).elements;
  ASSERT_GE(elements.size(), 9U);
  EXPECT_EQ(elements[0].stem->text, "id");
  EXPECT_EQ(elements[1].stem->text, "meta");
  EXPECT_EQ(elements[8].stem->text, "identifier");
}

TEST(TypeModel, ANameUnknownToTheTableIsNoMember) {
  json::Document document(r4().names());
  ASSERT_TRUE(document.parse(R"({"notAnElementOfAnything":1})"));
  EXPECT_EQ(types().member(id_of("Patient"), document.root()->first->name), nullptr);
}

}  // namespace
}  // namespace engine::shapes

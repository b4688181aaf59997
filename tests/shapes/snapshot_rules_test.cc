// The rules of snapshot generation and merging (FHIR R4 profiling.html, ElementDefinition), on
// small definitions of our own over R4.

#include <gtest/gtest.h>

#include "engine/shapes/definition_set.h"
#include "engine/shapes/words.h"
#include "tests/shapes/published_facts.h"

namespace engine::shapes {
namespace {

std::string definition(const std::string& name, const std::string& type, const std::string& base,
                       const std::string& elements, const std::string& more = "") {
  return R"({"resourceType":"StructureDefinition","url":"http://x.example/)" + name +
         R"(","name":")" + name + R"(","kind":"resource","type":")" + type +
         R"(","baseDefinition":")" + base + R"(","derivation":"constraint")" + more +
         R"(,"differential":{"element":[)" + elements + "]}}";
}

std::string r4_url(const std::string& name) {
  return "http://hl7.org/fhir/StructureDefinition/" + name;
}

std::string observation_profile(const std::string& elements) {
  return definition("p", "Observation", r4_url("Observation"), elements);
}

// The printed element of the generated snapshot, or the errors.
std::string generated(const std::string& text, const std::string& id) {
  base::Arena texts;
  DefinitionSet definitions(r4(), texts, "");
  definitions.add("p.json", text);
  const FactSet facts = definitions.facts();
  for (const fhir::Issue& issue : definitions.issues()) {
    if (issue.severity == fhir::Severity::kError) {
      return issue.text;
    }
  }
  for (const ShapeFacts& shape : facts.shapes) {
    for (const ElementFacts& element : shape.elements) {
      if (element.id == id) {
        std::string line = std::to_string(element.min) + ".." + bound_text(element.max);
        for (const TypeFact& type : element.types) {
          line += " " + std::string(type.code);
        }
        if (element.slicing.present) {
          line += " sliced " + std::string(word_of(kRulesWords, element.slicing.rules));
        }
        if (element.fixed.present()) {
          line += " = " + std::string(element.fixed.json);
        }
        if (element.binding.present) {
          line += " " + std::string(word_of(kStrengthWords, element.binding.strength)) + " " +
                  std::string(element.binding.value_set);
        }
        return line;
      }
    }
  }
  return "(no such element)";
}

TEST(SnapshotRules, NarrowAsTheDifferentialSays) {
  const struct {
    const char* elements;
    const char* id;
    const char* expected;
  } rows[] = {
      // cardinality
      {R"({"path":"Observation.subject","min":1})", "Observation.subject", "1..1 Reference"},
      {R"({"path":"Observation.component","max":"0"})", "Observation.component",
       "0..0 BackboneElement"},
      {R"({"path":"Observation.note","max":"2"})", "Observation.note", "0..2 Annotation"},
      // walking into a type
      {R"({"path":"Observation.subject.display","min":1})", "Observation.subject.display",
       "1..1 string"},
      {R"({"path":"Observation.subject.identifier.system","min":1})",
       "Observation.subject.identifier.system", "1..1 uri"},
      // one type of a choice
      {R"({"path":"Observation.value[x]","type":[{"code":"Quantity"}]})", "Observation.value[x]",
       "0..1 Quantity"},
      {R"({"path":"Observation.valueQuantity","min":1})", "Observation.value[x]:valueQuantity",
       "1..1 Quantity"},
      {R"({"path":"Observation.valueQuantity","min":1})", "Observation.value[x]",
       "0..1 Quantity sliced closed"},
      {R"({"path":"Observation.value[x]","min":1},{"path":"Observation.valueQuantity.code","min":1})",
       "Observation.value[x]:valueQuantity.code", "1..1 code"},
      // slices
      {R"({"path":"Observation.category","slicing":{"discriminator":[{"type":"pattern",
        "path":"$this"}],"rules":"open"}},{"path":"Observation.category","sliceName":"a","min":1,
        "max":"1"})",
       "Observation.category:a",
       "1..1 CodeableConcept preferred "
       "http://hl7.org/fhir/ValueSet/observation-category"},
      {R"({"path":"Observation.category","slicing":{"discriminator":[{"type":"pattern",
        "path":"$this"}],"rules":"open"}},{"path":"Observation.category","sliceName":"a"})",
       "Observation.category:a",
       "0..* CodeableConcept preferred http://hl7.org/fhir/ValueSet/observation-category"},
      {R"({"path":"Observation.component","slicing":{"discriminator":[{"type":"value",
        "path":"code"}],"rules":"closed"}},{"path":"Observation.component","sliceName":"a"},
        {"id":"Observation.component:a.code","path":"Observation.component.code","min":1})",
       "Observation.component:a.code",
       "1..1 CodeableConcept example http://hl7.org/fhir/ValueSet/observation-codes"},
      // extensions are sliced without being told
      {R"({"path":"Observation.extension","sliceName":"e","min":1,
        "type":[{"code":"Extension","profile":["http://x.example/unknown"]}]})",
       "Observation.extension", "0..* Extension sliced open"},
      // a content reference that is walked into
      {R"({"path":"Observation.component.referenceRange.text","min":1})",
       "Observation.component.referenceRange.text", "1..1 string"},
      // bindings
      {R"({"path":"Observation.code","binding":{"strength":"required"}})", "Observation.code",
       "1..1 CodeableConcept required http://hl7.org/fhir/ValueSet/observation-codes"},
      {R"({"path":"Observation.status","fixedCode":"final"})", "Observation.status",
       "1..1 code = \"final\" required http://hl7.org/fhir/ValueSet/observation-status|4.0.1"}};
  for (const auto& row : rows) {
    EXPECT_EQ(generated(observation_profile(row.elements), row.id), row.expected) << row.elements;
  }
}

TEST(SnapshotRules, ContradictionsNameBothSides) {
  const struct {
    const char* elements;
    const char* says;
  } rows[] = {
      {R"({"path":"Observation.status","min":0})",
       "cardinality 0..1 does not fit into the base's 1..1"},
      {R"({"path":"Observation.status","max":"*"})",
       "cardinality 1..* does not fit into the base's 1..1"},
      {R"({"path":"Observation.status","max":"0"})", "max 0 is below the base's min 1"},
      {R"({"path":"Observation.note","min":3,"max":"2"})", "cardinality 3..2 does not fit"},
      {R"({"path":"Observation.colour","min":1})", "there is no element colour here"},
      {R"({"path":"Observation.subject.colour"})", "there is no element colour here"},
      {R"({"path":"Observation.issued","type":[{"code":"string"}]})",
       "type string is not among the base's: instant"},
      {R"({"path":"Observation.value[x]","type":[{"code":"Age"},{"code":"Money"}]})",
       "type Money is not among the base's"},
      {R"({"path":"Observation.status","fixedString":"final"})",
       "a fixed value of type string where the element's types are: code"},
      {R"({"path":"Observation.value[x]","type":[{"code":"string"}]},
         {"path":"Observation.valueQuantity"})",
       "excluded earlier"},
      {R"({"path":"Observation.category","slicing":{"rules":"open"}},
         {"path":"Observation.category","sliceName":"a","min":2,"max":"1"})",
       "cardinality 2..1 does not fit"},
      {R"({"path":"Observation.note","max":"2","slicing":{"rules":"open"}},
         {"path":"Observation.note","sliceName":"a","min":2},
         {"path":"Observation.note","sliceName":"b","min":1})",
       "the slices demand 3 items, the element allows at most 2"},
      {R"({"path":"Observation.note","sliceName":"a"},{"path":"Observation.note","sliceName":"b"})",
       "several slices of an element that neither"},
      {R"({"path":"Patient.name"})", "does not begin with the type Observation"},
      {R"({"path":"Observation.status","fixedCode":"final","patternCode":"final"})",
       "exclude each other"},
      {R"({"path":"Observation.status","min":"1"})", "min must be a whole number"},
      {R"({"path":"Observation.status","contentReference":"#a\n  e"})",
       "contentReference is a uri, without spaces"},
      {R"({"path":"Observation.status","max":1})", "max must be a whole number or *"},
      {R"({"path":"Observation.code","binding":{"strength":"strong"}})",
       "binding.strength must be"},
      {R"({"path":"Observation.note","slicing":{"rules":"ajar"}})", "slicing.rules must be"},
      {R"({"path":"Observation..note"})", "no usable path"},
      {R"({"path":"Observation.id.extension.url.x"})", "no children"},
      {R"("text")", "every item of the element list is an object"}};
  for (const auto& row : rows) {
    const std::string text = generated(observation_profile(row.elements), "Observation");
    EXPECT_NE(text.find(row.says), std::string::npos) << row.elements << "\n  said: " << text;
  }
}

TEST(SnapshotRules, ABaseInACircleOrMissingIsSaid) {
  base::Arena texts;
  DefinitionSet definitions(r4(), texts, "");
  definitions.add("a.json", definition("a", "Observation", "http://x.example/b", ""));
  definitions.add("b.json", definition("b", "Observation", "http://x.example/a", ""));
  definitions.add("c.json", definition("c", "Observation", "http://x.example/nowhere", ""));
  definitions.add("d.json", definition("d", "Observation", r4_url("Patient"), ""));
  definitions.add("e.json", "{\"resourceType\":\"StructureDefinition\"");
  definitions.add("f.json", definition("f", "Observation", r4_url("Observation"), "",
                                       R"(,"fhirVersion":"5.0.0")"));
  definitions.add("good.json", observation_profile(R"({"path":"Observation.note","max":"1"})"));
  const FactSet facts = definitions.facts();
  ASSERT_EQ(facts.shapes.size(), 1U);  // the others do not spoil the good one
  EXPECT_EQ(facts.shapes[0].url, "http://x.example/p");
  std::string all;
  for (const fhir::Issue& issue : definitions.issues()) {
    all += issue.text + "\n";
  }
  for (const char* expected : {"in a circle", "the base http://x.example/nowhere is not known",
                               "the type is Observation but the base's is Patient",
                               "not readable as JSON", "the definition is for FHIR 5.0.0"}) {
    EXPECT_NE(all.find(expected), std::string::npos) << expected << "\n" << all;
  }
}

TEST(SnapshotRules, ProfilesOfProfilesKeepInheritedSlices) {
  base::Arena texts;
  DefinitionSet definitions(r4(), texts, "");
  definitions.add("a.json", definition("a", "Observation", r4_url("bp"),
                                       R"({"id":"Observation.component:SystolicBP","path":
        "Observation.component","sliceName":"SystolicBP","mustSupport":true},
        {"id":"Observation.component:Mean","path":"Observation.component","sliceName":"Mean"})"));
  const FactSet facts = definitions.facts();
  ASSERT_EQ(facts.shapes.size(), 1U);
  std::string slices;
  for (const ElementFacts& element : facts.shapes[0].elements) {
    if (element.path == "Observation.component" && !element.slice_name.empty()) {
      slices += std::string(element.slice_name) + " " + std::to_string(element.min) + " ";
    }
  }
  EXPECT_EQ(slices, "SystolicBP 1 DiastolicBP 1 Mean 0 ");
}

TEST(SnapshotRules, ALogicalModelGetsTypesOfItsOwn) {
  const std::unique_ptr<Catalog> catalog = new_r4();
  const base::SourceFile file{
      "m.json",
      R"({"resourceType":"StructureDefinition","url":"http://x.example/Round","name":"Round",
      "kind":"logical","abstract":false,"type":"Round","derivation":"specialization",
      "baseDefinition":"http://hl7.org/fhir/StructureDefinition/Element","differential":{"element":[
      {"path":"Round"},{"path":"Round.pulse","min":0,"max":"1","type":[{"code":"Quantity"}]},
      {"path":"Round.step","min":0,"max":"*","type":[{"code":"BackboneElement"}]},
      {"path":"Round.step.flow[x]","min":1,"max":"1","type":[{"code":"Quantity"},{"code":"string"}]}
      ]}})"};
  for (const fhir::Issue& issue : catalog->add({&file, 1})) {
    ADD_FAILURE() << issue.text;
  }
  const auto round = catalog->types().find("Round");
  ASSERT_TRUE(round.has_value());
  EXPECT_EQ(catalog->types().find("http://x.example/Round"), round);
  EXPECT_EQ(catalog->types().info(*round).kind, TypeKind::kLogical);
  const auto step = catalog->types().find("Round.step");
  ASSERT_TRUE(step.has_value());
  EXPECT_TRUE(catalog->types().is_a(*step, *catalog->types().find("BackboneElement")));
  const Member* flow = catalog->types().member(*step, catalog->names().find("flowQuantity"));
  ASSERT_NE(flow, nullptr);
  EXPECT_EQ(catalog->types().info(flow->type).name, "Quantity");
  ASSERT_NE(catalog->base_shape(*round), nullptr);
}

// A line break in a canonical would begin a fact of its own in the printed form.
TEST(SnapshotRules, ABaseWithALineBreakIsRefused) {
  const std::string error =
      generated(definition("p", "Observation", "http://x.example\\n/Base", ""), "Observation");
  EXPECT_NE(error.find("baseDefinition is a canonical, without spaces"), std::string::npos)
      << error;
}

// The short name comes first, walks into the type, and only then is the choice itself narrowed.
TEST(SnapshotRules, AChoiceMayBeNarrowedAfterItsShortNameWasWalkedInto) {
  const std::string text = observation_profile(
      R"({"path":"Observation.valueQuantity.system","min":1},
         {"path":"Observation.value[x]","type":[{"code":"Quantity"}]})");
  EXPECT_EQ(generated(text, "Observation.value[x]:valueQuantity.system"), "1..1 uri");
  EXPECT_TRUE(generated(text, "Observation.value[x]").starts_with("0..1 Quantity"));
  const std::unique_ptr<Catalog> catalog = new_r4();
  const base::SourceFile file{"p.json", text};
  EXPECT_TRUE(catalog->add({&file, 1}).empty());
  EXPECT_NE(catalog->find_shape("http://x.example/p"), nullptr);
}

TEST(SnapshotRules, AddedProfilesAnswerLikePublishedOnes) {
  const std::unique_ptr<Catalog> catalog = new_r4();
  const base::SourceFile files[] = {
      {"p.json", observation_profile(R"({"path":"Observation.subject","min":1})")},
      {"broken.json", definition("q", "Observation", r4_url("Observation"),
                                 R"({"path":"Observation.status","min":0})")}};
  const fhir::Issues issues = catalog->add(files);
  ASSERT_EQ(issues.size(), 1U);
  EXPECT_NE(issues[0].text.find("Observation.status"), std::string::npos);
  const Shape* shape = catalog->find_shape("http://x.example/p");
  ASSERT_NE(shape, nullptr);
  EXPECT_EQ(shape->base->name, "Observation");
  EXPECT_EQ(catalog->find_shape("http://x.example/q"), nullptr);
}

}  // namespace
}  // namespace engine::shapes

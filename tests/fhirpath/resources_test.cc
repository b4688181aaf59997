// Paths through resources: choice elements, primitives with extensions, types, references, FHIR's
// own functions, and what strict compilation refuses. Source: FHIR R4 fhirpath.html; standards as
// in the other tests.

#include <gtest/gtest.h>

#include "tests/fhirpath/fixture.h"

namespace engine::fhirpath::testing {
namespace {

TEST(FhirpathResources, WalkElements) {
  constexpr Case kCases[] = {
      {"gender", "code female"},
      {"Patient.gender", "code female"},
      {"Resource.id", "String p1"},
      {"DomainResource.contained.count()", "2"},
      {"Encounter.gender", "{}"},
      {"name.given", "string Ada | string Bea | string Addy"},
      {"name[0].given[1]", "string Bea"},
      {"name.where(use = 'nickname').given", "string Addy"},
      {"deceased", "boolean false"},
      {"deceased is boolean", "true"},
      {"multipleBirth", "integer 2"},
      {"multipleBirth + 1", "3"},
      {"deceasedBoolean", "{}"},
      {"birthDate", "date 1950-02-28"},
      {"birthDate.extension('http://example.org/time').value", "dateTime 1950-02-28T04:15:00Z"},
      {"birthDate.id", "JSON b1"},
      {"name.given.extension.value", "boolean true"},
      {"extension('http://example.org/ward').value", "string 3B"},
      {"extension('http://example.org/none')", "{}"},
      {"name.select(given.first() & ' ' & family)", "'Ada Sample' | 'Addy '"},
      {"contained.ofType(Organization).name", "string Test Ward"},
      {"contained.name.family", "string Example"},
      {"telecom.where(rank.exists()).value", "string 555-0100"},
      {"telecom.exists(system = 'email' and value.contains('@'))", "true"},
      {"photo", "{}"},
      {"name.given.count() = 3 and name.family.count() = 1", "true"},
      {"active and gender = 'female'", "true"},
      {"contact.name.family.upper()", "'SAMPLE-JONES'"},
      {"name.first().children().count()", "4"},
      {"name.first() = name[0]", "true"},
      {"name[0] = name[1]", "false"},
      {"(name | name).count()", "2"},
      {"descendants().where($this is Extension).count()", "3"},
  };
  expect_results(kCases, kPatient);
}

TEST(FhirpathResources, TellTypes) {
  constexpr Case kCases[] = {
      {"gender is code", "true"},
      {"gender is string", "true"},
      {"gender is uri", "false"},
      {"gender.as(string)", "{}"},
      {"gender.ofType(code)", "code female"},
      {"gender is System.String", "false"},
      {"active is Boolean", "false"},
      {"$this is Patient", "true"},
      {"$this is DomainResource", "true"},
      {"$this is FHIR.Resource", "true"},
      {"$this is Observation", "false"},
      {"type().name", "'Patient'"},
      {"gender.type()", "FHIR.code"},
      {"id.type()", "System.String"},
      {"name.first().type().name", "'HumanName'"},
      {"contained.type().name", "'Organization' | 'Practitioner'"},
      {"contact.first() is BackboneElement", "true"},
      {"birthDate < @1960", "true"},
      {"birthDate + 1 month", "@1950-03-28"},
      {"id = 'p1'", "true"},
  };
  expect_results(kCases, kPatient);
}

TEST(FhirpathResources, ReadQuantities) {
  constexpr Case kCases[] = {
      {"value",
       R"(Quantity {"value":94.0,"unit":"percent","system":"http://unitsofmeasure.org","code":"%"})"},
      {"value.value", "decimal 94.0"},
      {"value.value + 1", "95.0"},
      {"value > 92 '%'", "true"},
      {"value = 0.94 '1'", "true"},
      {"value >= referenceRange.low", "true"},
      {"value <= referenceRange.high", "{}"},
      {"value.ofType(Quantity).unit", "string percent"},
      {"component.value.ofType(string)", "string 28 percent"},
      {"component[0].value < 2500 'mL/min'", "true"},
      {"component[0].value + 500 'mL/min' = 2.5 'L/min'", "true"},
      {"value + 1 '%'", "95.0 '%'"},
      {"code.coding.first() ~ code.coding.first()", "true"},
      {"code ~ code", "true"},
      {"effective > @2026-03-02T07:00:00Z", "true"},
      {"effective + 5 minutes", "@2026-03-02T08:15:00+01:00"},
      {"iif(value.value < 92, 'low', 'ok')", "'ok'"},
  };
  expect_results(kCases, kObservation);
}

TEST(FhirpathResources, FollowReferences) {
  constexpr Case kPatientCases[] = {
      {"managingOrganization.resolve().name", "string Test Ward"},
      {"generalPractitioner.resolve().count()", "1"},
      {"generalPractitioner.resolve().name.family", "string Example"},
      {"'#org1'.resolve().name", "string Test Ward"},
      {"'#'.resolve().id", "String p1"},
      {"'#nobody'.resolve()", "{}"},
      {"contained.where(('#' + id) in %resource.descendants().reference).count()", "2"},
  };
  expect_results(kPatientCases, kPatient);
  constexpr Case kBundleCases[] = {
      {"entry.resource.subject.resolve().gender", "code female"},
      {"entry.resource.performer.resolve() is Practitioner", "true"},
      {"entry[1].resource.subject.reference.resolve().id", "String p1"},
      {"'urn:uuid:0001'.resolve().exists()", "false"},
      {"entry.resource.ofType(Observation).status", "code final"},
      {"entry.resource.ofType(Observation).select(%resource.type)", "code collection"},
  };
  expect_results(kBundleCases, kBundle);
}

class Library : public Host {
 public:
  Item resolve(std::string_view reference, const Item&) const override {
    return reference == "Practitioner/unknown" ? Item::of_string("found") : Item();
  }
  base::Result<bool> member_of(const Item& coded, std::string_view value_set) const override {
    if (value_set != "http://example.org/vs") {
      return base::Error(base::ErrorCode::kNotFound, "no such value set");
    }
    return to_text(coded) == "female";
  }
  base::Result<bool> subsumes(const Item& a, const Item& b) const override {
    return to_text(a) < to_text(b);
  }
};

TEST(FhirpathResources, AskTheHost) {
  const Library host;
  Setting setting;
  setting.host = &host;
  constexpr Case kCases[] = {
      {"generalPractitioner.resolve().count()", "2"},
      {"gender.memberOf('http://example.org/vs')", "true"},
      {"photo.memberOf('http://example.org/vs')", "{}"},
      {"'a'.subsumes('b')", "true"},
      {"'a'.subsumedBy('b')", "false"},
      {"{}.subsumes('b')", "{}"},
      {"conformsTo('http://hl7.org/fhir/StructureDefinition/Patient')", "true"},
      {"conformsTo('http://hl7.org/fhir/StructureDefinition/Person')", "false"},
      {"elementDefinition()", "{}"},
  };
  expect_results(kCases, kPatient, setting);
  constexpr Case kRefusals[] = {
      {"gender.memberOf('http://example.org/other')", "no such value set"},
      {"name.memberOf('http://example.org/vs')", "one item is expected here, not 2"},
      {"conformsTo('http://example.org/profile')",
       "the profile http://example.org/profile is not known here"},
      {"name.slice('http://example.org/profile', 'x')",
       "the profile http://example.org/profile is not known here"},
  };
  expect_refusals(kRefusals, kPatient, setting);
}

TEST(FhirpathResources, KnowFhirsOwnFunctionsAndConstants) {
  constexpr Case kCases[] = {
      {"gender.hasValue()", "true"},
      {"photo.hasValue()", "false"},
      {"name.hasValue()", "false"},
      {"gender.getValue()", "'female'"},
      {"name.given.select(hasValue())", "true | true | true"},
      {"name.checkModifiers('http://example.org/x').count()", "2"},
      {"%sct", "'http://snomed.info/sct'"},
      {"%loinc", "'http://loinc.org'"},
      {"%ucum", "'http://unitsofmeasure.org'"},
      {"%`vs-administrative-gender`", "'http://hl7.org/fhir/ValueSet/administrative-gender'"},
      {"%'ext-patient-birthTime'", "'http://hl7.org/fhir/StructureDefinition/patient-birthTime'"},
      {R"('<div xmlns="http://www.w3.org/1999/xhtml">text</div>'.htmlChecks())", "true"},
      {R"('<div xmlns="http://www.w3.org/1999/xhtml"><script>x</script></div>'.htmlChecks())",
       "false"},
      {"'no div'.htmlChecks()", "false"},
  };
  expect_results(kCases, kPatient);
  EXPECT_EQ(run("given.hasValue()", R"({"resourceType": "HumanName"})"), "false");
  EXPECT_EQ(
      run("birthDate.hasValue()", R"({"resourceType": "Patient", "_birthDate": {"id": "x"}})"),
      "false");
  EXPECT_EQ(run("birthDate.exists()", R"({"resourceType": "Patient", "_birthDate": {"id": "x"}})"),
            "true");
  EXPECT_TRUE(
      run("name.checkModifiers()",
          R"({"resourceType": "Basic", "modifierExtension": [{"url": "http://example.org/not"}]})")
          .starts_with("{}"));
  EXPECT_TRUE(
      run("checkModifiers('http://example.org/other')",
          R"({"resourceType": "Basic", "modifierExtension": [{"url": "http://example.org/not"}]})")
          .find("modifier extension http://example.org/not") != std::string::npos);
}

TEST(FhirpathResources, RepeatThroughTrees) {
  constexpr Case kCases[] = {
      {"repeat(item).linkId", "string 1 | string 2 | string 1.1 | string 1.2 | string 1.2.1"},
      {"repeat(item).count()", "5"},
      {"descendants().linkId.count()", "5"},
      {"children().linkId", "string 1 | string 2"},
      {"item.repeat(item).where(item.empty()).linkId", "string 1.1 | string 1.2.1"},
      {"repeat(item).type.distinct()", "code group | code decimal | code string | code boolean"},
  };
  expect_results(kCases, kQuestionnaire);
}

TEST(FhirpathResources, AreRefusedByStrictCompilation) {
  Setting strict;
  strict.strict = true;
  constexpr Case kCases[] = {
      {"name.given1", "1:6: HumanName has no element 'given1'; the nearest is 'given'"},
      {"Encounter.name", "1:1: Patient has no element 'Encounter'"},
      {"birthdate", "Patient has no element 'birthdate'; the nearest is 'birthDate'"},
      {"deceasedBoolean",
       "Patient has no element 'deceasedBoolean'; a choice is addressed by its stem: 'deceased'"},
      {"name.where(usee = 'official')", "HumanName has no element 'usee'; the nearest is 'use'"},
      {"name.family.foo", "string has no element 'foo'"},
      {"contact.select(name.fam)", "HumanName has no element 'fam'"},
      {"children().first()", "first() needs an order, and children() and descendants() have none"},
      {"descendants()[0]", "an index needs an order"},
      {"children().where(true).skip(1)", "skip() needs an order"},
      {"name.upper()", "upper() works on strings, and this is HumanName"},
      {"1.foo", "a value of the language has no element 'foo'"},
      {"contact.repeat(nme)", "has no element 'nme'"},
  };
  expect_refusals(kCases, kPatient, strict);
  constexpr Case kAllowed[] = {
      {"name.given.first()", "string Ada"},
      {"contained.name.first() is string", "true"},
      {"children().count() > 5", "true"},
      {"managingOrganization.resolve().anything", "{}"},
      {"contained.ofType(Organization).name", "string Test Ward"},
      {"extension.value.ofType(string)", "string 3B"},
      {"(name.given | name.family).first()", "string Ada"},
      {"gender.upper()", "'FEMALE'"},
      {"name.repeat('x')", "'x'"},
  };
  expect_results(kAllowed, kPatient, strict);
}

TEST(FhirpathResources, FilterByAsWhereInvariantsWantIt) {
  Setting lenient;
  lenient.as_filters = true;
  EXPECT_EQ(run("contained.as(Organization).name", kPatient, lenient), "string Test Ward");
  EXPECT_EQ(run("(contained as Organization).name", kPatient, lenient), "string Test Ward");
  EXPECT_TRUE(run("contained.as(Organization).name", kPatient).starts_with("error"));
}

TEST(FhirpathResources, NeedNoTypes) {
  constexpr std::string_view kDocument = R"({
    "session": {"value": "s1"}, "rounds": [{"spo2": 91, "note": "x"}, {"spo2": 94.5, "_note": {"id": "n"}}],
    "closed": true, "none": null})";
  constexpr Case kCases[] = {
      {"session.value", "JSON s1"},
      {"rounds.spo2", "JSON 91 | JSON 94.5"},
      {"rounds.where(spo2 > 92).count()", "1"},
      {"rounds.spo2.max()", "94.5"},
      {"rounds[0].spo2 is Integer", "false"},
      {"rounds.note.count()", "2"},
      {"closed and true", "true"},
      {"none", "{}"},
      {"session.value & '!'", "'s1!'"},
      {"%resource.session.value", "JSON s1"},
      {"descendants().count()", "10"},
      {"missing.path[3].here", "{}"},
  };
  expect_results(kCases, kDocument);
}

}  // namespace
}  // namespace engine::fhirpath::testing

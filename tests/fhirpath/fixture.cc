#include "tests/fhirpath/fixture.h"

#include <fstream>
#include <memory>
#include <sstream>
#include <vector>

#include <gtest/gtest.h>

namespace engine::fhirpath::testing {
namespace {

std::string read(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

std::string literal(const Item& item) {
  switch (item.kind) {
    case ItemKind::kString:
      return '\'' + to_text(item) + '\'';
    case ItemKind::kDate:
      return '@' + to_text(item);
    case ItemKind::kDateTime: {
      const std::string text = '@' + to_text(item);
      return text.find('T') == std::string::npos ? text + 'T' : text;
    }
    case ItemKind::kTime:
      return "@T" + to_text(item);
    case ItemKind::kNode: {
      std::string type = type_text(item, &types());
      type = type.substr(type.find('.') == std::string::npos ? 0 : type.find('.') + 1);
      return type + ' ' + to_text(item);
    }
    default:
      return to_text(item);
  }
}

}  // namespace

shapes::Catalog& catalog() {
  static const std::unique_ptr<shapes::Catalog> kCatalog = [] {
    std::vector<base::SourceFile> files;
    for (const char* name : {"types.facts", "extensions.facts", "profiles.facts",
                             "code-systems.facts", "value-sets.facts"}) {
      files.push_back({std::string("r4/") + name, read(std::string("profiles/r4/") + name)});
    }
    auto loaded = shapes::Catalog::load(files);
    if (!loaded) {
      ADD_FAILURE() << loaded.error().text();
      std::abort();
    }
    (*loaded)->freeze();
    return std::move(*loaded);
  }();
  return *kCatalog;
}

const Types& types() {
  static const Types kTypes(catalog().types(), catalog().names());
  return kTypes;
}

std::string print(Items items) {
  std::string out;
  for (const Item& item : items) {
    out += out.empty() ? "" : " | ";
    out += literal(item);
  }
  return out.empty() ? "{}" : out;
}

std::string run(std::string_view text, std::string_view resource, const Setting& setting) {
  json::Document document(catalog().names());
  Item focus;
  Options options{.types = &types()};
  options.strict = setting.strict;
  options.as_filters = setting.as_filters;
  if (!resource.empty()) {
    const auto parsed = document.parse(resource);
    if (!parsed) {
      return "the document is unreadable: " + parsed.error().text();
    }
    focus = types().resource(*document.root());
    options.context_type = focus.type;
  }
  const auto expression = compile(text, options);
  if (!expression) {
    return "error " + expression.error().where + ": " + expression.error().detail;
  }
  Workspace workspace;
  Context context;
  if (!focus.is_nothing()) {
    context.focus = {&focus, 1};
  }
  context.now = kNow;
  context.host = setting.host;
  const auto result = expression->evaluate(context, workspace);
  if (!result) {
    return "error " + result.error().where + ": " + result.error().detail;
  }
  return print(*result);
}

void expect_results(std::span<const Case> cases, std::string_view resource,
                    const Setting& setting) {
  for (const Case& one : cases) {
    EXPECT_EQ(run(one.expression, resource, setting), one.expected) << one.expression;
  }
}

void expect_refusals(std::span<const Case> cases, std::string_view resource,
                     const Setting& setting) {
  for (const Case& one : cases) {
    const std::string got = run(one.expression, resource, setting);
    EXPECT_TRUE(got.starts_with("error ") && got.find(one.expected) != std::string::npos)
        << one.expression << "\ngave " << got << "\nwanted " << one.expected;
  }
}

const std::string_view kPatient = R"({
  "resourceType": "Patient", "id": "p1",
  "extension": [{"url": "http://example.org/ward", "valueString": "3B"}],
  "contained": [
    {"resourceType": "Organization", "id": "org1", "name": "Test Ward"},
    {"resourceType": "Practitioner", "id": "pr1", "name": [{"family": "Example"}]}],
  "active": true,
  "name": [
    {"use": "official", "family": "Sample", "given": ["Ada", "Bea"],
     "_given": [null, {"extension": [{"url": "http://example.org/nick", "valueBoolean": true}]}]},
    {"use": "nickname", "given": ["Addy"]}],
  "telecom": [{"system": "phone", "value": "555-0100", "rank": 1}, {"system": "email", "value": "ada@example.org"}],
  "gender": "female",
  "birthDate": "1950-02-28",
  "_birthDate": {"id": "b1", "extension": [{"url": "http://example.org/time", "valueDateTime": "1950-02-28T04:15:00Z"}]},
  "deceasedBoolean": false,
  "multipleBirthInteger": 2,
  "managingOrganization": {"reference": "#org1"},
  "generalPractitioner": [{"reference": "#pr1"}, {"reference": "Practitioner/unknown"}],
  "contact": [{"relationship": [{"text": "daughter"}], "name": {"family": "Sample-Jones"}, "gender": "female"}]
})";

const std::string_view kObservation = R"({
  "resourceType": "Observation", "id": "o1", "status": "final",
  "category": [{"coding": [{"system": "http://terminology.hl7.org/CodeSystem/observation-category", "code": "vital-signs"}]}],
  "code": {"coding": [{"system": "http://loinc.org", "code": "2708-6", "display": "one wording"},
                      {"system": "http://loinc.org", "code": "59408-5"}], "text": "Saturation"},
  "subject": {"reference": "Patient/p1"},
  "effectiveDateTime": "2026-03-02T08:10:00+01:00",
  "valueQuantity": {"value": 94.0, "unit": "percent", "system": "http://unitsofmeasure.org", "code": "%"},
  "referenceRange": [{"low": {"value": 92, "system": "http://unitsofmeasure.org", "code": "%"},
                      "high": {"value": 96, "unit": "%"}}],
  "component": [
    {"code": {"text": "flow"}, "valueQuantity": {"value": 2, "system": "http://unitsofmeasure.org", "code": "L/min"}},
    {"code": {"text": "fraction"}, "valueString": "28 percent"}]
})";

const std::string_view kBundle = R"({
  "resourceType": "Bundle", "type": "collection",
  "entry": [
    {"fullUrl": "http://example.org/fhir/Patient/p1",
     "resource": {"resourceType": "Patient", "id": "p1", "gender": "female"}},
    {"fullUrl": "http://example.org/fhir/Observation/o1",
     "resource": {"resourceType": "Observation", "id": "o1", "status": "final", "code": {"text": "x"},
                  "subject": {"reference": "Patient/p1"}, "performer": [{"reference": "urn:uuid:0001"}]}},
    {"fullUrl": "urn:uuid:0001",
     "resource": {"resourceType": "Practitioner", "id": "pr1", "name": [{"family": "Example"}]}}]
})";

const std::string_view kQuestionnaire = R"({
  "resourceType": "Questionnaire", "status": "draft",
  "item": [
    {"linkId": "1", "type": "group", "item": [
      {"linkId": "1.1", "type": "string", "text": "Where do you sleep?"},
      {"linkId": "1.2", "type": "group", "item": [{"linkId": "1.2.1", "type": "boolean"}]}]},
    {"linkId": "2", "type": "decimal"}]
})";

}  // namespace engine::fhirpath::testing

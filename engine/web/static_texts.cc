#include "engine/web/static_texts.h"

#include <algorithm>
#include <iterator>

namespace engine::web {
namespace {

constexpr std::string_view kMetadata =
    R"json({"resourceType":"CapabilityStatement","status":"active","date":"2026-11-25","kind":"instance","software":{"name":"chartferry"},"implementation":{"description":"Takes therapy sessions in and lands them in a FHIR record server"},"fhirVersion":"4.0.1","format":["application/fhir+json"],"rest":[{"mode":"client","documentation":"Sends transactions of Observation, Procedure and Provenance to record servers","interaction":[{"code":"transaction"}]}]})json";

constexpr StaticText kTexts[] = {
    {"metadata", "application/fhir+json", kMetadata},
};

}  // namespace

const StaticText* static_text(std::string_view path) {
  static const StaticText openapi = {"openapi.json", "application/json", openapi_text()};
  if (path == openapi.path) {
    return &openapi;
  }
  const auto* found = std::find_if(std::begin(kTexts), std::end(kTexts),
                                   [&](const StaticText& text) { return text.path == path; });
  return found == std::end(kTexts) ? nullptr : found;
}

}  // namespace engine::web

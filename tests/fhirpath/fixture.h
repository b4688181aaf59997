#pragma once
// Expressions run on invented resources, and results in one printed form, so that a test is a table
// of texts.

#include <span>
#include <string>
#include <string_view>

#include "engine/fhirpath/fhirpath.h"
#include "engine/json/document.h"
#include "engine/shapes/catalog.h"

namespace engine::fhirpath::testing {

// The R4 facts of profiles/r4 and their types, loaded once.
shapes::Catalog& catalog();
const Types& types();

// An instant in winter in a zone, for now() and its like.
inline constexpr std::string_view kNow = "2026-03-02T08:10:30.250+01:00";

// The items joined with " | ": literals as they would be written, primitives of a document as type
// and value
// ("code male"), complex elements as type and JSON. "{}" for an empty result.
std::string print(Items items);

struct Setting {
  bool strict = false;
  bool as_filters = false;
  const Host* host = nullptr;
};

// The printed result of an expression on a JSON text ("" for none), or "error <where>: <detail>".
std::string run(std::string_view expression, std::string_view resource = {},
                const Setting& setting = {});

struct Case {
  std::string_view expression;
  std::string_view expected;  // as run() prints it; for refusals a part of it
};

// Each expression gives exactly what is expected.
void expect_results(std::span<const Case> cases, std::string_view resource = {},
                    const Setting& setting = {});
// Each expression is refused, and the message contains what is expected.
void expect_refusals(std::span<const Case> cases, std::string_view resource = {},
                     const Setting& setting = {});

// Invented people and readings.
extern const std::string_view kPatient;
extern const std::string_view kObservation;
extern const std::string_view kBundle;
extern const std::string_view kQuestionnaire;

}  // namespace engine::fhirpath::testing

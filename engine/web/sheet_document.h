#pragma once
// The session document that a patient's sheet becomes: what was kept when the sheet was handed out
// (the frame), the latest revision that the journal has, and what the patient now reports. Every
// entry is marked as recorded by the patient. The values themselves are the intake's to judge, as
// anybody's. Pure.

#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/web/sheet_report.h"

namespace engine::web {

struct NextDocument {
  std::string text;
  bool changed = false;  // false: everything was reported before, and `text` is empty
};

// `frame`: JSON object with identifier, patient, therapist and perhaps facility and order;
// `latest`: the latest revision's text, or "" when there is none; `now`: a FHIR instant. An entry
// whose id is known, or was withdrawn, is left as it is. Errors: kCorrupt when a text is none of
// ours, kConflict when a therapist attested what is taken back, kLimit.
base::Result<NextDocument> next_document(std::string_view frame, std::string_view latest,
                                         const SheetReport& report, std::string_view now);

// What the patient reported and was not taken back, as a JSON array: [{"id","time","set"} |
// {"id","time","reading"}], with "seen": true once a therapist attested it. `latest` as above.
std::string reported_view(std::string_view latest);

}  // namespace engine::web

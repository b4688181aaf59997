#pragma once
// The XHTML of a Narrative (FHIR R4 narrative page; txt-1, txt-2 and the FHIRPath function
// htmlChecks()): well formed, one div in the XHTML namespace, only the formatting of HTML 4
// chapters 7 to 11 (without inserted and deleted text) and 15, links and pictures; nothing that
// runs, submits or loads. A hand-written scanner, linear in the text.

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace engine::fhir {

enum class NarrativeRule : std::uint8_t {
  kForm,     // not well-formed XML, or not one div in the XHTML namespace
  kContent,  // an element, attribute or address that a narrative may not have (txt-1)
  kEmpty,    // neither text nor a picture (txt-2)
};

struct NarrativeFault {
  NarrativeRule rule;
  std::size_t offset;  // bytes from the start of the div's text
  std::string text;    // found / allowed
};

struct NarrativeReport {
  std::vector<NarrativeFault> faults;  // at most limits::kNarrativeFaultsMax
  std::vector<std::string_view>
      local_references;                   // "p1" of href="#p1" and src="#p1"; views into the text
  std::vector<std::string_view> anchors;  // values of id and name attributes
};

NarrativeReport check_narrative(std::string_view xhtml);

}  // namespace engine::fhir

#pragma once
// Literal references (FHIR R4 references page): what kind of address a Reference.reference is,
// taken apart. Views borrow from the text. Whether a type name is a resource type is for the type
// model to say.

#include <cstdint>
#include <string_view>

namespace engine::fhir {

enum class ReferenceForm : std::uint8_t {
  kEmpty,
  kContained,    // "#p1", or "#" for the container
  kRelative,     // "Patient/1", "Patient/1/_history/2"
  kAbsolute,     // a URL that ends like a relative reference: base/Patient/1
  kUrn,          // urn:uuid:…, urn:oid:…
  kConditional,  // "Patient?identifier=…", in transactions only
  kOther,        // another absolute address
  kUnreadable,   // relative, but not [type]/[id]
};

struct ParsedReference {
  ReferenceForm form = ReferenceForm::kEmpty;
  std::string_view base;      // "https://server/fhir" without the slash; kAbsolute only
  std::string_view type;      // kRelative, kAbsolute, kConditional
  std::string_view id;        // kRelative, kAbsolute
  std::string_view version;   // after _history/
  std::string_view fragment;  // kContained: the id without "#"; otherwise what follows "#"
};

ParsedReference parse_reference(std::string_view text);

// "url|version#fragment" of a canonical, taken apart.
struct Canonical {
  std::string_view url;
  std::string_view version;
  std::string_view fragment;
};
Canonical parse_canonical(std::string_view text);

// True when the text begins with a URI scheme ("http:", "urn:").
bool is_absolute_uri(std::string_view text);

}  // namespace engine::fhir

#pragma once
// The lexical rules of FHIR R4 primitive values (the regexes of the R4 StructureDefinitions,
// anchored at both ends, plus the rules a regex cannot say: real calendar dates, number ranges,
// lengths). Hand-written scanners, linear time, no allocation. JSON kinds are the caller's
// business: json_kind_of() says which one a primitive takes.

#include <cstdint>
#include <optional>
#include <string_view>

#include "engine/json/node.h"

namespace engine::fhir {

enum class Primitive : std::uint8_t {
  kBoolean,
  kInteger,
  kUnsignedInt,
  kPositiveInt,
  kDecimal,
  kString,
  kMarkdown,
  kCode,
  kId,
  kUri,
  kUrl,
  kCanonical,
  kOid,
  kUuid,
  kBase64Binary,
  kDate,
  kDateTime,
  kInstant,
  kTime,
  kXhtml,
};

// By the type's name ("dateTime"); "System.String" and the other system types are not FHIR
// primitives.
std::optional<Primitive> primitive_named(std::string_view name);
std::string_view name_of(Primitive primitive);
json::Kind json_kind_of(Primitive primitive);

// nullptr when the text is a value of the primitive; otherwise what is allowed instead, as a phrase
// that completes "…, but …" ("there is no such day in the calendar"). The text is that of the JSON
// value: the unescaped string, or the number as written. An xhtml value is only tested for
// emptiness here; see narrative.h.
const char* primitive_fault(Primitive primitive, std::string_view text);

// Days of a month in the proleptic Gregorian calendar; month from 1.
int days_in_month(int year, int month);

// Digits of a decimal without sign, leading zeros, point and exponent. FHIR R4 asks nobody to keep
// more than 18.
std::size_t significant_digits(std::string_view number);
inline constexpr std::size_t kDecimalDigitsKept = 18;

}  // namespace engine::fhir

#pragma once
// The words of the fact files and of FHIR for the enumerations of shape.h, both ways.

#include <array>
#include <charconv>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "engine/shapes/facts.h"

namespace engine::shapes {

template <class E, std::size_t N>
using Words = std::array<std::pair<E, std::string_view>, N>;

template <class E, std::size_t N>
constexpr std::string_view word_of(const Words<E, N>& words, E value) {
  for (const auto& [known, word] : words) {
    if (known == value) {
      return word;
    }
  }
  return {};
}

template <class E, std::size_t N>
constexpr std::optional<E> meaning_of(const Words<E, N>& words, std::string_view text) {
  for (const auto& [value, word] : words) {
    if (word == text) {
      return value;
    }
  }
  return std::nullopt;
}

inline constexpr Words<Aggregation, 3> kAggregationWords = {
    {{Aggregation::kContained, "contained"},
     {Aggregation::kReferenced, "referenced"},
     {Aggregation::kBundled, "bundled"}}};
inline constexpr Words<TypeRef::Versioning, 3> kVersioningWords = {
    {{TypeRef::Versioning::kEither, "either"},
     {TypeRef::Versioning::kIndependent, "independent"},
     {TypeRef::Versioning::kSpecific, "specific"}}};
inline constexpr Words<Strength, 4> kStrengthWords = {{{Strength::kRequired, "required"},
                                                       {Strength::kExtensible, "extensible"},
                                                       {Strength::kPreferred, "preferred"},
                                                       {Strength::kExample, "example"}}};
inline constexpr Words<SlicingRules, 3> kRulesWords = {{{SlicingRules::kOpen, "open"},
                                                        {SlicingRules::kClosed, "closed"},
                                                        {SlicingRules::kOpenAtEnd, "openAtEnd"}}};
inline constexpr Words<DiscriminatorKind, 5> kDiscriminatorWords = {
    {{DiscriminatorKind::kValue, "value"},
     {DiscriminatorKind::kPattern, "pattern"},
     {DiscriminatorKind::kExists, "exists"},
     {DiscriminatorKind::kType, "type"},
     {DiscriminatorKind::kProfile, "profile"}}};
// StructureDefinition.kind; backbone and system types have no definition of their own.
inline constexpr Words<TypeKind, 4> kKindWords = {{{TypeKind::kPrimitive, "primitive-type"},
                                                   {TypeKind::kComplex, "complex-type"},
                                                   {TypeKind::kResource, "resource"},
                                                   {TypeKind::kLogical, "logical"}}};
inline constexpr Words<ExtensionContext::Kind, 3> kContextWords = {
    {{ExtensionContext::Kind::kElement, "element"},
     {ExtensionContext::Kind::kExtension, "extension"},
     {ExtensionContext::Kind::kFhirPath, "fhirpath"}}};
inline constexpr Words<ValueSetPart::Kind, 3> kPartWords = {
    {{ValueSetPart::Kind::kCodes, "codes"},
     {ValueSetPart::Kind::kWholeSystem, "all"},
     {ValueSetPart::Kind::kUnknown, "unknown"}}};

// Canonicals of FHIR's own structures are written without this prefix.
inline constexpr std::string_view kStructurePrefix = "http://hl7.org/fhir/StructureDefinition/";

inline std::string_view shortened(std::string_view canonical) {
  if (canonical.starts_with(kStructurePrefix) &&
      canonical.find(':', kStructurePrefix.size()) == std::string_view::npos &&
      canonical.size() > kStructurePrefix.size()) {
    return canonical.substr(kStructurePrefix.size());
  }
  return canonical;
}

inline std::string bound_text(std::uint32_t bound) {
  return bound == kUnbounded ? "*" : std::to_string(bound);
}

inline std::optional<std::uint32_t> bound_of(std::string_view text) {
  if (text == "*") {
    return kUnbounded;
  }
  std::uint32_t value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || end != text.data() + text.size() || value == kUnbounded) {
    return std::nullopt;
  }
  return value;
}

// A text up to the end of its line: line breaks become spaces (FHIRPath and JSON mean the same).
void append_line_text(std::string_view text, std::string& out);
// A text as one word.
void append_without_spaces(std::string_view text, std::string& out);

}  // namespace engine::shapes

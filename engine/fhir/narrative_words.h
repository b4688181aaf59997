#pragma once
// What a narrative may be made of. Source: FHIR R4 narrative page, which names chapters of
// HTML 4.0; the spelled-out list of elements and attributes is from memory of those chapters.

#include <algorithm>
#include <array>
#include <string_view>

namespace engine::fhir {

inline constexpr std::array<std::string_view, 58> kNarrativeElements = {
    "a",     "abbr",    "acronym", "address", "area", "b",        "bdo",    "big", "blockquote",
    "br",    "caption", "cite",    "code",    "col",  "colgroup", "dd",     "dfn", "div",
    "dl",    "dt",      "em",      "h1",      "h2",   "h3",       "h4",     "h5",  "h6",
    "hr",    "i",       "img",     "kbd",     "li",   "map",      "ol",     "p",   "pre",
    "q",     "s",       "samp",    "small",   "span", "strike",   "strong", "sub", "sup",
    "table", "tbody",   "td",      "tfoot",   "th",   "thead",    "tr",     "tt",  "u",
    "ul",    "var",     "center",  "font"};

struct NarrativeAttribute {
  std::string_view name;
  std::string_view elements;  // space separated with spaces at both ends; empty: every element
};

inline constexpr std::array<NarrativeAttribute, 57> kNarrativeAttributes = {{
    {"title", ""},
    {"style", ""},
    {"class", ""},
    {"id", ""},
    {"lang", ""},
    {"xml:lang", ""},
    {"dir", ""},
    {"accesskey", ""},
    {"tabindex", ""},
    {"xml:space", ""},
    {"xmlns", ""},
    {"align",
     " caption col colgroup div h1 h2 h3 h4 h5 h6 hr img p table tbody td tfoot th thead tr "},
    {"valign", " col colgroup tbody td tfoot th thead tr "},
    {"char", " col colgroup tbody td tfoot th thead tr "},
    {"charoff", " col colgroup tbody td tfoot th thead tr "},
    {"span", " col colgroup "},
    {"width", " col colgroup hr img pre table td th "},
    {"height", " img td th "},
    {"colspan", " td th "},
    {"rowspan", " td th "},
    {"abbr", " td th "},
    {"axis", " td th "},
    {"headers", " td th "},
    {"scope", " td th "},
    {"nowrap", " td th "},
    {"bgcolor", " table td th tr "},
    {"summary", " table "},
    {"border", " img table "},
    {"frame", " table "},
    {"rules", " table "},
    {"cellspacing", " table "},
    {"cellpadding", " table "},
    {"href", " a area "},
    {"name", " a img map "},
    {"charset", " a "},
    {"type", " a li ol ul "},
    {"hreflang", " a "},
    {"rel", " a "},
    {"rev", " a "},
    {"shape", " a area "},
    {"coords", " a area "},
    {"nohref", " area "},
    {"target", " a area "},
    {"src", " img "},
    {"alt", " area img "},
    {"longdesc", " img "},
    {"usemap", " img "},
    {"ismap", " img "},
    {"cite", " blockquote q "},
    {"start", " ol "},
    {"value", " li "},
    {"compact", " dl ol ul "},
    {"clear", " br "},
    {"size", " font hr "},
    {"noshade", " hr "},
    {"color", " font "},
    {"face", " font "},
}};

inline bool is_narrative_element(std::string_view name) {
  return std::find(kNarrativeElements.begin(), kNarrativeElements.end(), name) !=
         kNarrativeElements.end();
}

inline bool is_narrative_attribute(std::string_view element, std::string_view name) {
  for (const NarrativeAttribute& row : kNarrativeAttributes) {
    if (row.name == name) {
      if (row.elements.empty()) {
        return true;
      }
      const std::size_t at = row.elements.find(element);
      for (std::size_t i = at; i != std::string_view::npos; i = row.elements.find(element, i + 1)) {
        if (row.elements[i - 1] == ' ' && row.elements[i + element.size()] == ' ') {
          return true;
        }
      }
      return false;
    }
  }
  return false;
}

}  // namespace engine::fhir

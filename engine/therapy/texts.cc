#include "engine/therapy/texts.h"

#include <algorithm>
#include <string>
#include <string_view>

#include "engine/base/limits.h"
#include "engine/base/utf8.h"

namespace engine::therapy {
namespace {

using json::Node;

// What people write in sentences, and the readings of a series: as long as FHIR lets them be.
constexpr std::string_view kFreeTexts[] = {"text", "comment", "reason",     "event",        "topic",
                                           "what", "data",    "precaution", "weightBearing"};

bool is_free(std::string_view member) {
  return std::find(std::begin(kFreeTexts), std::end(kFreeTexts), member) != std::end(kFreeTexts);
}

// Extensions are not carried into the chart.
bool is_uncarried(std::string_view member) {
  return member == "extension" || member == "modifierExtension" || member.starts_with('_');
}

bool is_forbidden(char c) {
  return static_cast<unsigned char>(c) < 0x20 && c != '\t' && c != '\n' && c != '\r';
}

void check(const Node& node, std::string_view member, Report& report) {
  const std::string_view text = node.text();
  if (std::any_of(text.begin(), text.end(), is_forbidden)) {
    report.error("value", node,
                 "This text holds a control character, which FHIR does not allow: of those only "
                 "tab, line feed and carriage return may stand in a text.");
  }
  // RFC 3986: no part of a URI. Identifiers are compared as SYSTEM|VALUE, and two of them must
  // never be the same text.
  if (member == "system" && text.find('|') != std::string_view::npos) {
    report.error("value", node,
                 "A system is a URI, and no URI has a bar: it is written %7C there.");
  }
  constexpr std::size_t kMax = base::limits::kShortTextCharsMax;
  if (!is_free(member) && text.size() > kMax && base::count_scalars(text) > kMax) {
    report.error("too-long", node,
                 "This text is too long: a name, an identifier or a code has at most " +
                     std::to_string(kMax) + " characters.");
  }
}

// As deep as the document, which limits::kJsonDepthMax bounds.
void walk(const Node& node, std::string_view member, Report& report) {
  if (node.is_string()) {
    check(node, member, report);
  }
  for (const Node& child : node) {
    const std::string_view name = node.is_object() ? child.name_text() : member;
    if (!is_uncarried(name)) {
      walk(child, name, report);
    }
  }
}

}  // namespace

void check_texts(const Node& session, Report& report) {
  walk(session, {}, report);
}

}  // namespace engine::therapy

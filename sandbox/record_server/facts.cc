#include "sandbox/record_server/facts.h"

#include <algorithm>
#include <array>
#include <cctype>

namespace sandbox::record_server {
namespace {

using engine::json::Node;
using enum FactKind;

constexpr std::string_view kClinical =
    "Observation Procedure DiagnosticReport ServiceRequest Goal Condition CarePlan Composition";

constexpr std::array kParameters = {
    SearchParameter{"_id", kToken, "", "id", ""},
    SearchParameter{"_lastUpdated", kDate, "", "meta.lastUpdated", ""},
    SearchParameter{"_profile", kToken, "", "meta.profile", ""},
    SearchParameter{"_tag", kToken, "", "meta.tag", ""},
    SearchParameter{"identifier", kToken, "", "identifier", ""},
    SearchParameter{"status", kToken, "", "status", ""},
    SearchParameter{"code", kToken,
                    "Observation Procedure DiagnosticReport ServiceRequest Condition Flag", "code",
                    ""},
    SearchParameter{"category", kToken, "", "category", ""},
    SearchParameter{"subject", kReference, "", "subject", ""},
    SearchParameter{"patient", kReference, "Device RelatedPerson Consent", "patient", "Patient"},
    SearchParameter{"patient", kReference, "", "subject", "Patient"},
    SearchParameter{"encounter", kReference, "", "encounter", ""},
    SearchParameter{"performer", kReference, "Observation DiagnosticReport ServiceRequest",
                    "performer", ""},
    SearchParameter{"performer", kReference, "Procedure", "performer.actor", ""},
    SearchParameter{"based-on", kReference, "", "basedOn", ""},
    SearchParameter{"part-of", kReference, "", "partOf", ""},
    SearchParameter{"derived-from", kReference, "Observation", "derivedFrom", ""},
    SearchParameter{"has-member", kReference, "Observation", "hasMember", ""},
    SearchParameter{"target", kReference, "Provenance", "target", ""},
    SearchParameter{"agent", kReference, "Provenance", "agent.who", ""},
    SearchParameter{"entity", kReference, "Provenance", "entity.what", ""},
    SearchParameter{"recorded", kDate, "Provenance AuditEvent", "recorded", ""},
    SearchParameter{"date", kDate, "Observation DiagnosticReport", "effective[x]", ""},
    SearchParameter{"date", kDate, "Procedure", "performed[x]", ""},
    SearchParameter{"date", kDate, "Encounter CarePlan", "period", ""},
    SearchParameter{"date", kDate, "Composition DocumentReference RiskAssessment", "date", ""},
    SearchParameter{"birthdate", kDate, "Patient Practitioner", "birthDate", ""},
    SearchParameter{"gender", kToken, "Patient Practitioner", "gender", ""},
    SearchParameter{"family", kText, "Patient Practitioner", "name.family", ""},
    SearchParameter{"given", kText, "Patient Practitioner", "name.given", ""},
    SearchParameter{"name", kText, "Patient Practitioner", "name.family", ""},
    SearchParameter{"name", kText, "Patient Practitioner", "name.given", ""},
    SearchParameter{"name", kText, "Patient Practitioner", "name.text", ""},
    SearchParameter{"name", kText, "Organization Location", "name", ""},
};

bool lists(std::string_view names, std::string_view wanted) {
  while (!names.empty()) {
    const std::size_t end = names.find(' ');
    if (names.substr(0, end) == wanted) {
      return true;
    }
    names = end == std::string_view::npos ? std::string_view() : names.substr(end + 1);
  }
  return false;
}

bool serves(const SearchParameter& parameter, std::string_view type) {
  if (!parameter.types.empty()) {
    return lists(parameter.types, type);
  }
  const bool clinical = parameter.path == "subject" || parameter.path == "encounter" ||
                        parameter.path == "basedOn" || parameter.path == "partOf" ||
                        parameter.path == "category";
  return !clinical || lists(kClinical, type) || type == "Encounter" || type == "Flag" ||
         type == "RiskAssessment" || type == "DocumentReference";
}

std::string text_of(const Node& node) {
  if (node.is_boolean()) {
    return node.boolean ? "true" : "false";
  }
  return std::string(node.text());
}

class Collector {
 public:
  Collector(const SearchParameter& parameter, Facts& facts)
      : parameter_(parameter), facts_(facts) {}

  void walk(const Node& node, std::string_view path) {
    if (node.is_array()) {
      for (const Node& item : node) {
        walk(item, path);
      }
    } else if (path.empty()) {
      take(node);
    } else if (node.is_object()) {
      const std::size_t dot = path.find('.');
      const std::string_view step = path.substr(0, dot);
      const std::string_view rest =
          dot == std::string_view::npos ? std::string_view() : path.substr(dot + 1);
      for (const Node& child : node) {
        if (names(step, child.name_text())) {
          walk(child, rest);
        }
      }
    }
  }

 private:
  static bool names(std::string_view step, std::string_view member) {
    if (!step.ends_with("[x]")) {
      return step == member;
    }
    step.remove_suffix(3);
    return member.size() > step.size() && member.starts_with(step) &&
           std::isupper(static_cast<unsigned char>(member[step.size()])) != 0;
  }

  void add(std::string first, std::string second = {}, DateRange range = {}) {
    facts_.push_back({&parameter_, std::move(first), std::move(second), range});
  }

  void take(const Node& node) {
    switch (parameter_.kind) {
      case kToken:
        return take_token(node);
      case kReference:
        return take_reference(node);
      case kDate:
        return take_date(node);
      case kText:
        return add(to_lower(node.text()));
    }
  }

  void take_token(const Node& node) {
    if (!node.is_object()) {
      return add("", text_of(node));
    }
    const Node* coding = node.find("coding");
    if (coding != nullptr) {
      return walk(*coding, "");
    }
    const Node* code = node.find("code") != nullptr ? node.find("code") : node.find("value");
    if (code != nullptr && !code->text().empty()) {
      add(std::string(node.string_at("system")), std::string(code->text()));
    }
  }

  void take_reference(const Node& node) {
    std::string identifier;
    if (const Node* logical = node.find("identifier"); logical != nullptr) {
      identifier = std::string(logical->string_at("system")) + '|' +
                   std::string(logical->string_at("value"));
    }
    std::string literal(node.string_at("reference"));
    literal = literal.substr(0, literal.find("/_history/"));
    const bool fits = parameter_.target.empty() ||
                      literal.starts_with(std::string(parameter_.target) + '/') ||
                      (literal.empty() && !identifier.empty());
    if (fits && (!literal.empty() || !identifier.empty())) {
      add(std::move(literal), std::move(identifier));
    }
  }

  void take_date(const Node& node) {
    if (node.is_string()) {
      if (const auto range = parse_date_range(node.text())) {
        add("", "", *range);
      }
    } else if (node.is_object()) {  // Period
      const auto start = parse_date_range(node.string_at("start"));
      const auto end = parse_date_range(node.string_at("end"));
      DateRange range;
      range.low = start ? start->low : range.low;
      range.high = end ? end->high : range.high;
      if (start || end) {
        add("", "", range);
      }
    }
  }

  const SearchParameter& parameter_;
  Facts& facts_;
};

}  // namespace

std::string to_lower(std::string_view text) {
  std::string out(text);
  std::transform(out.begin(), out.end(), out.begin(), [](unsigned char c) {
    return c < 128 ? static_cast<char>(std::tolower(c)) : static_cast<char>(c);
  });
  return out;
}

const SearchParameter* find_parameter(std::string_view type, std::string_view name) {
  for (const SearchParameter& parameter : kParameters) {
    if (parameter.name == name && serves(parameter, type)) {
      return &parameter;
    }
  }
  return nullptr;
}

std::vector<const SearchParameter*> parameters_of(std::string_view type) {
  std::vector<const SearchParameter*> found;
  for (const SearchParameter& parameter : kParameters) {
    const bool known = std::any_of(found.begin(), found.end(), [&](const SearchParameter* other) {
      return other->name == parameter.name;
    });
    if (serves(parameter, type) && !known) {
      found.push_back(&parameter);
    }
  }
  return found;
}

Facts facts_of(std::string_view type, const Node& resource) {
  Facts facts;
  for (const SearchParameter& parameter : kParameters) {
    // The first of two "patient" rows that serves the type wins; the rows of "name" add up.
    const bool shadowed =
        parameter.kind == kReference && find_parameter(type, parameter.name) != &parameter;
    if (serves(parameter, type) && !shadowed) {
      Collector(parameter, facts).walk(resource, parameter.path);
    }
  }
  return facts;
}

}  // namespace sandbox::record_server

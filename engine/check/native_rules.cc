// The frequent invariants in C++. tests/check holds each against its FHIRPath form on mutated
// resources; a definition with another expression under the same key is left to FHIRPath.

#include <algorithm>

#include "engine/check/compare.h"
#include "engine/check/rules.h"
#include "engine/check/walk.h"

namespace engine::check {
namespace {

bool has(const Subject& s, std::uint16_t element) {
  return s.slots[element].exists();
}

// A primitive's value; nullptr when it has none.
const json::Node* value_of(const Subject& s, std::uint16_t element) {
  const json::Node* node = s.slots[element].value;
  return node != nullptr && !node->is_null() ? node : nullptr;
}

std::string_view text_of(const Subject& s, std::uint16_t element) {
  const json::Node* node = value_of(s, element);
  return node != nullptr && node->is_string() ? node->text() : std::string_view();
}

bool no_contained_has(const Subject& s, std::uint16_t contained, std::string_view in,
                      std::initializer_list<std::string_view> names) {
  const json::Node* list = s.slots[contained].value;
  if (list == nullptr) {
    return true;
  }
  for (const json::Node& each : *list) {
    const json::Node* holder = in.empty() ? &each : each.find(in);
    if (holder == nullptr) {
      continue;
    }
    for (const std::string_view name : names) {
      if (holder->find(name) != nullptr) {
        return false;
      }
    }
  }
  return true;
}

bool dom_2(const Subject& s, const RuleElements& e) {
  return no_contained_has(s, e[0], {}, {"contained"});
}
bool dom_4(const Subject& s, const RuleElements& e) {
  return no_contained_has(s, e[0], "meta",
                          {"versionId", "lastUpdated", "_versionId", "_lastUpdated"});
}
bool dom_5(const Subject& s, const RuleElements& e) {
  return no_contained_has(s, e[0], "meta", {"security"});
}
bool dom_6(const Subject& s, const RuleElements& e) {
  const json::Node* text = s.slots[e[0]].value;
  return text != nullptr && (text->find("div") != nullptr || text->find("_div") != nullptr);
}

bool either_empty(const Subject& s, const RuleElements& e) {
  return !has(s, e[0]) || !has(s, e[1]);
}
bool first_needs_second(const Subject& s, const RuleElements& e) {
  return !has(s, e[0]) || has(s, e[1]);
}
bool one_of_two(const Subject& s, const RuleElements& e) {
  return has(s, e[0]) || has(s, e[1]);
}
bool one_of_three(const Subject& s, const RuleElements& e) {
  return has(s, e[0]) || has(s, e[1]) || has(s, e[2]);
}
bool one_of_four(const Subject& s, const RuleElements& e) {
  return one_of_three(s, e) || has(s, e[3]);
}
bool first_empty(const Subject& s, const RuleElements& e) {
  return !has(s, e[0]);
}

// value, component, code
bool obs_7(const Subject& s, const RuleElements& e) {
  const json::Node* components = s.slots[e[1]].value;
  const json::Node* code = s.slots[e[2]].value;
  const json::Node* own = code != nullptr ? code->find("coding") : nullptr;
  if (!has(s, e[0]) || components == nullptr || own == nullptr) {
    return true;
  }
  for (const json::Node& component : *components) {
    const json::Node* component_code = component.find("code");
    const json::Node* codings =
        component_code != nullptr ? component_code->find("coding") : nullptr;
    if (codings == nullptr) {
      continue;
    }
    for (const json::Node& each : *codings) {
      for (const json::Node& mine : *own) {
        if (equals_fixed(each, mine)) {
          return false;
        }
      }
    }
  }
  return true;
}

// component, hasMember, dataAbsentReason, value
bool vs_2(const Subject& s, const RuleElements& e) {
  return has(s, e[0]) || has(s, e[1]) || has(s, e[2]) || has(s, e[3]);
}
// At least a day, or it would sort nowhere.
bool vs_1(const Subject& s, const RuleElements&) {
  constexpr std::size_t kDayLength = 8;  // as R4 words it: 8 characters of the text
  if (s.walk->checker().types.info(s.type).name != "dateTime") {
    return true;
  }
  return s.value != nullptr && s.value->text().size() >= kDayLength;
}

// start, end
bool per_1(const Subject& s, const RuleElements& e) {
  const std::string_view start = text_of(s, e[0]);
  const std::string_view end = text_of(s, e[1]);
  return start.empty() || end.empty() || compare_times(start, end) != TimeOrder::kAfter;
}

// Whether exactly the Bundles of these types have a member in every entry. Without a type that
// cannot be said of any entry.
bool entries_have(const Subject& s, const RuleElements& e, std::string_view member,
                  std::initializer_list<std::string_view> of_types) {
  const json::Node* entries = s.slots[e[0]].value;
  if (entries == nullptr) {
    return true;
  }
  const std::string_view type = text_of(s, e[1]);
  const bool wanted = std::find(of_types.begin(), of_types.end(), type) != of_types.end();
  for (const json::Node& entry : *entries) {
    if (type.empty() || (entry.find(member) != nullptr) != wanted) {
      return false;
    }
  }
  return true;
}

// entry, type
bool bdl_3(const Subject& s, const RuleElements& e) {
  return entries_have(s, e, "request", {"batch", "transaction", "history"});
}
bool bdl_4(const Subject& s, const RuleElements& e) {
  return entries_have(s, e, "response", {"batch-response", "transaction-response", "history"});
}
// fullUrl
bool bdl_8(const Subject& s, const RuleElements& e) {
  return !has(s, e[0]) || (value_of(s, e[0]) != nullptr &&
                           text_of(s, e[0]).find("/_history/") == std::string_view::npos);
}

// reference
bool ref_1(const Subject& s, const RuleElements& e) {
  const std::string_view text = text_of(s, e[0]);
  if (text.size() < 2 || text.front() != '#') {
    return true;
  }
  return s.walk->resolve(text).resource != nullptr;
}

constexpr NativeRule kRules[] = {
    {"ele-1", "hasValue() or (children().count() > id.count())", {}, nullptr},
    {"ext-1",
     "extension.exists() != value.exists()",
     {"extension", "value"},
     [](const Subject& s, const RuleElements& e) { return has(s, e[0]) != has(s, e[1]); }},
    {"txt-1", "htmlChecks()", {}, nullptr},
    {"txt-2", "htmlChecks()", {}, nullptr},
    {"dom-2", "contained.contained.empty()", {"contained"}, dom_2},
    {"dom-3",
     "contained.where((('#'+id in (%resource.descendants().reference | "
     "%resource.descendants().as(canonical) | "
     "%resource.descendants().as(uri) | %resource.descendants().as(url))) or"
     " descendants().where(reference = '#').exists() or "
     "descendants().where(as(canonical) = '#').exists() or "
     "descendants().where(as(canonical) = "
     "'#').exists()).not()).trace('unmatched', id).empty()",
     {},
     nullptr},
    {"dom-4",
     "contained.meta.versionId.empty() and contained.meta.lastUpdated.empty()",
     {"contained"},
     dom_4},
    {"dom-5", "contained.meta.security.empty()", {"contained"}, dom_5},
    {"dom-6", "text.`div`.exists()", {"text"}, dom_6},
    {"obs-3",
     "low.exists() or high.exists() or text.exists()",
     {"low", "high", "text"},
     one_of_three},
    {"obs-6",
     "dataAbsentReason.empty() or value.empty()",
     {"dataAbsentReason", "value"},
     either_empty},
    {"obs-7",
     "value.empty() or "
     "component.code.where(coding.intersect(%resource.code.coding).exists()).empty()",
     {"value", "component", "code"},
     obs_7},
    {"vs-1", "($this as dateTime).toString().length() >= 8", {}, vs_1},
    {"vs-2",
     "(component.empty() and hasMember.empty()) implies (dataAbsentReason.exists() or "
     "value.exists())",
     {"component", "hasMember", "dataAbsentReason", "value"},
     vs_2},
    {"vs-3",
     "value.exists() or dataAbsentReason.exists()",
     {"value", "dataAbsentReason"},
     one_of_two},
    {"per-1",
     "start.hasValue().not() or end.hasValue().not() or (start <= end)",
     {"start", "end"},
     per_1},
    {"qty-3", "code.empty() or system.exists()", {"code", "system"}, first_needs_second},
    {"sqty-1", "comparator.empty()", {"comparator"}, first_empty},
    {"cpt-2", "value.empty() or system.exists()", {"value", "system"}, first_needs_second},
    {"att-1", "data.empty() or contentType.exists()", {"data", "contentType"}, first_needs_second},
    {"pat-1",
     "name.exists() or telecom.exists() or address.exists() or organization.exists()",
     {"name", "telecom", "address", "organization"},
     one_of_four},
    {"sev-1", "name.empty() or query.empty()", {"name", "query"}, either_empty},
    {"bdl-3",
     "entry.all(request.exists() = (%resource.type = 'batch' or %resource.type = 'transaction' or "
     "%resource.type = 'history'))",
     {"entry", "type"},
     bdl_3},
    {"bdl-4",
     "entry.all(response.exists() = (%resource.type = 'batch-response' or %resource.type = "
     "'transaction-response' or %resource.type = 'history'))",
     {"entry", "type"},
     bdl_4},
    {"bdl-8", "fullUrl.contains('/_history/').not()", {"fullUrl"}, bdl_8},
    {"bdl-5",
     "resource.exists() or request.exists() or response.exists()",
     {"resource", "request", "response"},
     one_of_three},
    {"ref-1",
     "reference.startsWith('#').not() or (reference.substring(1).trace('url') in "
     "%rootResource.contained.id.trace('ids'))",
     {"reference"},
     ref_1},
};

}  // namespace

std::span<const NativeRule> native_rules() {
  return kRules;
}

}  // namespace engine::check

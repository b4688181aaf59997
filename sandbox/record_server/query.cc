#include "sandbox/record_server/query.h"

#include <algorithm>
#include <array>

#include "sandbox/record_server/message.h"
#include "sandbox/record_server/resource_types.h"

namespace sandbox::record_server {
namespace {

using enum FactKind;

constexpr std::array<std::string_view, 9> kSteering = {"_count",  "_format",   "_summary",
                                                       "_total",  "_offset",   "_sort",
                                                       "_pretty", "_elements", "_since"};

// Cuts at unescaped separators and takes the backslashes away (FHIR R4 search, "escaping search
// parameters").
std::vector<std::string> cut(std::string_view text, char separator, bool keep_escapes) {
  std::vector<std::string> parts(1);
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '\\' && i + 1 < text.size()) {
      if (keep_escapes) {
        parts.back() += '\\';
      }
      parts.back() += text[++i];
    } else if (text[i] == separator) {
      parts.emplace_back();
    } else {
      parts.back() += text[i];
    }
  }
  return parts;
}

bool token_matches(const Fact& fact, const std::string& wanted) {
  const auto parts = cut(wanted, '|', false);
  if (parts.size() == 1) {
    return fact.second == parts[0];
  }
  return fact.first == parts[0] && (parts[1].empty() || fact.second == parts[1]);
}

bool identifier_matches(const Fact& fact, const std::string& wanted) {
  const auto parts = cut(wanted, '|', false);
  const std::size_t bar = fact.second.find('|');
  return bar != std::string::npos && fact.second.substr(bar + 1) == parts.back() &&
         (parts.size() == 1 || fact.second.substr(0, bar) == parts[0]);
}

bool reference_matches(const Fact& fact, const Criterion& criterion, const std::string& wanted) {
  if (criterion.modifier == "identifier") {
    return identifier_matches(fact, wanted);
  }
  if (wanted.find('/') != std::string::npos) {
    return fact.first == wanted;
  }
  const std::size_t slash = fact.first.rfind('/');
  return slash != std::string::npos && fact.first.substr(slash + 1) == wanted &&
         (criterion.modifier.empty() || fact.first.substr(0, slash) == criterion.modifier);
}

// FHIR R4 search, "prefixes": how the range of the resource stands to the range asked for.
bool date_matches(const DateRange& has, const std::string& wanted) {
  std::string_view text = wanted;
  std::string_view prefix = "eq";
  if (text.size() > 2 && text[0] >= 'a' && text[0] <= 'z') {
    prefix = text.substr(0, 2);
    text = text.substr(2);
  }
  const auto range = parse_date_range(text);
  if (!range) {
    return false;
  }
  const bool inside = has.low >= range->low && has.high <= range->high;
  if (prefix == "eq" || prefix == "ap") {
    return inside;
  }
  if (prefix == "ne") {
    return !inside;
  }
  if (prefix == "gt" || prefix == "sa") {
    return prefix == "gt" ? has.high > range->high : has.low >= range->high;
  }
  if (prefix == "lt" || prefix == "eb") {
    return prefix == "lt" ? has.low < range->low : has.high <= range->low;
  }
  return prefix == "ge" ? has.high > range->low : has.low < range->high;
}

bool text_matches(const Fact& fact, const Criterion& criterion, const std::string& wanted) {
  const std::string lower = to_lower(cut(wanted, '\0', false).front());
  if (criterion.modifier == "exact") {
    return fact.first == lower;
  }
  return criterion.modifier == "contains" ? fact.first.find(lower) != std::string::npos
                                          : fact.first.starts_with(lower);
}

bool fact_matches(const Fact& fact, const Criterion& criterion, const std::string& wanted) {
  switch (criterion.kind) {
    case kToken:
      return token_matches(fact, wanted);
    case kReference:
      return reference_matches(fact, criterion, wanted);
    case kDate:
      return date_matches(fact.range, wanted);
    case kText:
      return text_matches(fact, criterion, wanted);
  }
  return false;
}

bool target_has_identifier(const Store& store, const Fact& fact, const std::string& wanted) {
  const std::size_t slash = fact.first.find('/');
  const Record* target = slash == std::string::npos ? nullptr
                                                    : store.find(fact.first.substr(0, slash),
                                                                 fact.first.substr(slash + 1));
  return target != nullptr &&
         std::any_of(target->facts.begin(), target->facts.end(), [&](const Fact& of_target) {
           return of_target.parameter->name == "identifier" && token_matches(of_target, wanted);
         });
}

bool satisfies(const Store& store, const Record& record, const Criterion& criterion) {
  bool present = false;
  bool matched = false;
  for (const Fact& fact : record.facts) {
    if (fact.parameter->name != criterion.name) {
      continue;
    }
    present = true;
    matched = matched || std::any_of(criterion.alternatives.begin(), criterion.alternatives.end(),
                                     [&](const std::string& wanted) {
                                       return criterion.chained
                                                  ? target_has_identifier(store, fact, wanted)
                                                  : fact_matches(fact, criterion, wanted);
                                     });
  }
  if (criterion.modifier == "missing") {
    return present == (criterion.alternatives.front() == "false");
  }
  return criterion.modifier == "not" ? !matched : matched;
}

bool modifier_fits(const Criterion& criterion) {
  const std::string& modifier = criterion.modifier;
  if (modifier.empty() || modifier == "missing") {
    return true;
  }
  if (criterion.kind == kToken) {
    return modifier == "not";
  }
  if (criterion.kind == kReference) {
    return !criterion.chained && (modifier == "identifier" || is_resource_type(modifier));
  }
  return criterion.kind == kText && (modifier == "exact" || modifier == "contains");
}

void check_values(const Criterion& criterion) {
  static constexpr std::array<std::string_view, 9> kPrefixes = {"eq", "ne", "gt", "lt", "ge",
                                                                "le", "sa", "eb", "ap"};
  for (const std::string& value : criterion.alternatives) {
    bool good = !value.empty();
    if (criterion.modifier == "missing") {
      good = value == "true" || value == "false";
    } else if (criterion.kind == kDate) {
      const bool prefixed = value.size() > 2 && value[0] >= 'a' && value[0] <= 'z';
      const bool known = !prefixed || std::find(kPrefixes.begin(), kPrefixes.end(),
                                                value.substr(0, 2)) != kPrefixes.end();
      good = known && parse_date_range(prefixed ? value.substr(2) : value).has_value();
    }
    if (!good) {
      throw Refusal(
          400, "value",
          "The search parameter '" + criterion.name + "' has a value that is not of its type.");
    }
  }
}

// The criterion that a parameter's name stands for; nullopt when the type has none of that name.
std::optional<Criterion> criterion_named(std::string_view type, std::string_view name) {
  Criterion criterion;
  const std::size_t colon = name.find(':');
  if (colon != std::string_view::npos) {
    criterion.modifier = name.substr(colon + 1);
    name = name.substr(0, colon);
  }
  if (name.ends_with(".identifier")) {
    criterion.chained = true;
    name.remove_suffix(std::string_view(".identifier").size());
  } else if (criterion.modifier.ends_with(".identifier")) {  // subject:Patient.identifier
    criterion.chained = true;
    criterion.modifier.clear();
  }
  const SearchParameter* parameter = find_parameter(type, name);
  if (parameter == nullptr || (criterion.chained && parameter->kind != kReference)) {
    return std::nullopt;
  }
  criterion.name = parameter->name;
  criterion.kind = parameter->kind;
  return criterion;
}

}  // namespace

Query parse_search(std::string_view type, const Parameters& parameters, UnknownParameters unknown,
                   std::string_view base_url) {
  Query query;
  query.type = type;
  for (const auto& [name, value] : parameters) {
    if (std::find(kSteering.begin(), kSteering.end(), name) != kSteering.end()) {
      continue;
    }
    auto criterion = criterion_named(type, name);
    if (!criterion) {
      if (unknown == UnknownParameters::kRefuse) {
        throw Refusal(400, "not-supported",
                      "There is no search parameter '" + name + "' for " + std::string(type) + ".");
      }
      continue;
    }
    if (!modifier_fits(*criterion)) {
      throw Refusal(400, "not-supported", "The modifier of '" + name + "' is not supported.");
    }
    for (std::string& alternative : cut(value, ',', true)) {
      const std::string prefix = std::string(base_url) + '/';
      const bool absolute = criterion->kind == kReference && alternative.starts_with(prefix);
      criterion->alternatives.push_back(absolute ? alternative.substr(prefix.size())
                                                 : std::move(alternative));
    }
    check_values(*criterion);
    query.criteria.push_back(std::move(*criterion));
    query.understood.emplace_back(name, value);
  }
  return query;
}

std::vector<const Record*> find_matches(const Store& store, const Query& query) {
  std::vector<const Record*> candidates;
  const auto exact =
      std::find_if(query.criteria.begin(), query.criteria.end(), [](const Criterion& criterion) {
        return criterion.name == "identifier" && criterion.modifier.empty() && !criterion.chained &&
               criterion.alternatives.size() == 1;
      });
  std::vector<std::string> parts;
  if (exact != query.criteria.end()) {
    parts = cut(exact->alternatives.front(), '|', false);
  }
  if (parts.size() == 2 && !parts[1].empty()) {
    candidates = store.with_identifier(query.type, parts[0] + '|' + parts[1]);
  } else {
    for (const Record& record : store.records()) {
      if (record.type == query.type && !record.newest().deleted()) {
        candidates.push_back(&record);
      }
    }
  }
  std::erase_if(candidates, [&](const Record* record) {
    return !std::all_of(query.criteria.begin(), query.criteria.end(),
                        [&](const Criterion& one) { return satisfies(store, *record, one); });
  });
  return candidates;
}

std::vector<const Record*> find_conditional(const Store& store, std::string_view type,
                                            std::string_view query, std::string_view base_url) {
  if (query.starts_with('?')) {
    query.remove_prefix(1);
  }
  const Query parsed = parse_search(type, parse_query(query), UnknownParameters::kRefuse, base_url);
  if (parsed.criteria.empty()) {
    throw Refusal(400, "invalid", "A conditional interaction needs at least one search criterion.");
  }
  return find_matches(store, parsed);
}

}  // namespace sandbox::record_server

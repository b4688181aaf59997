#include "engine/shapes/value_set_expander.h"

#include <algorithm>
#include <unordered_set>
#include <utility>

#include "engine/base/limits.h"
#include "engine/fhir/pattern.h"
#include "engine/shapes/catalog_builder.h"

namespace engine::shapes {

using base::Error;
using base::ErrorCode;
using base::Result;

namespace {

using TextSet = std::unordered_set<std::string_view>;

TextSet text_set(const std::vector<std::string_view>& items) {
  return {items.begin(), items.end()};
}

// The definition of a concept, searched through the hierarchy.
const json::Node* find_concept(const json::Node& list, std::string_view code) {
  for (const json::Node& item : list) {
    if (item.string_at("code") == code) {
      return &item;
    }
    if (const json::Node* below = item.find("concept")) {
      if (const json::Node* found = find_concept(*below, code)) {
        return found;
      }
    }
  }
  return nullptr;
}

std::vector<std::string_view> property_values(const json::Node& definition, std::string_view code,
                                              std::string_view property) {
  std::vector<std::string_view> values;
  const json::Node* concepts = definition.find("concept");
  const json::Node* item = concepts != nullptr ? find_concept(*concepts, code) : nullptr;
  const json::Node* properties = item != nullptr ? item->find("property") : nullptr;
  if (properties == nullptr) {
    return values;
  }
  for (const json::Node& entry : *properties) {
    if (entry.string_at("code") != property) {
      continue;
    }
    for (const json::Node& member : entry) {
      if (member.name_text() == "valueBoolean") {
        values.push_back(member.boolean ? "true" : "false");
      } else if (member.name_text() == "valueCoding") {
        values.push_back(member.string_at("code"));
      } else if (member.name_text().starts_with("value")) {
        values.push_back(member.text());
      }
    }
  }
  return values;
}

bool in_list(std::string_view value, std::string_view comma_list) {
  while (!comma_list.empty()) {
    const std::size_t comma = comma_list.find(',');
    std::string_view item = comma_list.substr(0, comma);
    comma_list =
        comma == std::string_view::npos ? std::string_view() : comma_list.substr(comma + 1);
    while (!item.empty() && item.front() == ' ') {
      item.remove_prefix(1);
    }
    if (item == value) {
      return true;
    }
  }
  return false;
}

// Whether a code passes one filter; nullopt when that cannot be told here.
std::optional<bool> passes(const CodeSystem& system, const json::Node* definition,
                           std::string_view code, const json::Node& filter) {
  const std::string_view property = filter.string_at("property");
  const std::string_view op = filter.string_at("op");
  const std::string_view value = filter.string_at("value");
  if (op == "is-a") {
    return system.is_below(code, value);
  }
  if (op == "descendent-of") {
    return code != value && system.is_below(code, value);
  }
  if (op == "is-not-a") {
    return !system.is_below(code, value);
  }
  if (op == "generalizes") {
    return system.is_below(value, code);
  }
  std::vector<std::string_view> values;
  if (property == "code" || property == "concept") {
    values.push_back(code);
  } else if (definition != nullptr) {
    values = property_values(*definition, code, property);
  } else {
    return std::nullopt;
  }
  auto any = [&values](auto test) { return std::any_of(values.begin(), values.end(), test); };
  if (op == "=") {
    return any([&](std::string_view v) { return v == value; });
  }
  if (op == "in" || op == "not-in") {
    return any([&](std::string_view v) { return in_list(v, value); }) == (op == "in");
  }
  if (op == "exists") {
    return values.empty() == (value == "false");
  }
  if (op == "regex") {
    bool readable = true;
    const bool found = any([&](std::string_view v) {
      const std::optional<bool> matched = fhir::matches_whole(value, v);
      readable &= matched.has_value();
      return matched.value_or(false);
    });
    return readable ? std::optional<bool>(found) : std::nullopt;
  }
  return std::nullopt;
}

}  // namespace

void ValueSetExpander::add_code_system(const CodeSystemFacts& facts, const json::Node& definition) {
  Source& source = systems_[facts.url];
  source.facts = &facts;
  source.definition = &definition;
  source.table = make_code_system(facts);
}

void ValueSetExpander::add_value_set(const json::Node& definition) {
  sets_[definition.string_at("url")] = &definition;
}

const CodeSystem* ValueSetExpander::table_of(std::string_view system) const {
  if (const auto source = systems_.find(system); source != systems_.end()) {
    return &source->second.table;
  }
  return known_.find_code_system(system);
}

ValueSetExpander::CodeSet ValueSetExpander::unknown_set(std::string_view system,
                                                        std::string reason) {
  SystemCodes entry;
  entry.system = system;
  entry.unknown = true;
  entry.reason = copy_text(texts_, reason);
  return {entry};
}

ValueSetExpander::SystemCodes& ValueSetExpander::at(CodeSet& set, std::string_view system) {
  for (SystemCodes& entry : set) {
    if (entry.system == system) {
      return entry;
    }
  }
  set.emplace_back().system = system;
  return set.back();
}

void ValueSetExpander::unite(CodeSet& into, const CodeSet& from) const {
  for (const SystemCodes& other : from) {
    SystemCodes& entry = at(into, other.system);
    entry.whole |= other.whole;
    if (other.unknown && !entry.unknown) {
      entry.unknown = true;
      entry.reason = other.reason;
    }
    TextSet seen = text_set(entry.codes);
    for (const std::string_view code : other.codes) {
      if (seen.insert(code).second) {
        entry.codes.push_back(code);
      }
    }
  }
}

ValueSetExpander::CodeSet ValueSetExpander::intersect(const CodeSet& a, const CodeSet& b) {
  auto find = [](const CodeSet& set, std::string_view system) -> const SystemCodes* {
    for (const SystemCodes& entry : set) {
      if (entry.system == system) {
        return &entry;
      }
    }
    return nullptr;
  };
  CodeSet result;
  for (const SystemCodes& left : a) {
    const SystemCodes* right = find(b, left.system);
    const SystemCodes* right_any = find(b, {});
    if (right == nullptr && (right_any == nullptr || left.system.empty())) {
      continue;
    }
    const SystemCodes nothing;
    const SystemCodes& other = right != nullptr ? *right : nothing;
    SystemCodes& entry = at(result, left.system);
    if (left.whole && other.whole) {
      entry.whole = true;
    } else if (other.whole) {
      entry.codes = left.codes;
      entry.unknown = left.unknown;
    } else if (left.whole) {
      entry.codes = other.codes;
      entry.unknown = other.unknown;
    } else {
      const TextSet wanted = text_set(other.codes);
      for (const std::string_view code : left.codes) {
        if (wanted.contains(code)) {
          entry.codes.push_back(code);
        }
      }
      entry.unknown = (left.unknown && (other.unknown || !other.codes.empty())) ||
                      (other.unknown && !left.codes.empty());
    }
    entry.unknown |= right_any != nullptr;
    entry.reason = !entry.unknown         ? std::string_view()
                   : left.unknown         ? left.reason
                   : right_any != nullptr ? right_any->reason
                                          : other.reason;
  }
  // Whatever an unknown import on the left may hold of the right's systems.
  if (const SystemCodes* left_any = find(a, {})) {
    for (const SystemCodes& right : b) {
      SystemCodes& entry = at(result, right.system);
      entry.unknown = true;
      entry.reason = left_any->reason;
    }
  }
  return result;
}

ValueSetExpander::CodeSet ValueSetExpander::subtract(const CodeSet& a, const CodeSet& b) {
  CodeSet result;
  for (const SystemCodes& left : a) {
    SystemCodes entry = left;
    bool gone = false;
    for (const SystemCodes& right : b) {
      if (right.system != left.system && !right.system.empty()) {
        continue;
      }
      if (right.whole) {
        gone = true;
        break;
      }
      if (right.unknown) {
        entry.codes.clear();
        entry.whole = false;
        entry.unknown = true;
        entry.reason = right.reason;
        continue;
      }
      if (entry.whole && !right.codes.empty()) {
        const CodeSystem* system = table_of(entry.system);
        entry.whole = false;
        if (system != nullptr && system->complete) {
          entry.codes.assign(system->codes.codes().begin(), system->codes.codes().end());
        } else {
          entry.unknown = true;
          entry.reason = "a code system that is not loaded, less some of its codes";
        }
      }
      const TextSet excluded = text_set(right.codes);
      std::erase_if(entry.codes, [&](std::string_view code) { return excluded.contains(code); });
    }
    if (!gone) {
      result.push_back(std::move(entry));
    }
  }
  return result;
}

ValueSetExpander::CodeSet ValueSetExpander::filtered(std::string_view system,
                                                     const json::Node& filters) {
  const CodeSystem* table = table_of(system);
  if (table == nullptr || !table->complete) {
    return unknown_set(system, "a filter over a code system that is not loaded");
  }
  const auto source = systems_.find(system);
  const json::Node* definition = source != systems_.end() ? source->second.definition : nullptr;
  SystemCodes entry;
  entry.system = system;
  for (const std::string_view code : table->codes.codes()) {
    bool inside = true;
    for (const json::Node& filter : filters) {
      const std::optional<bool> passed = passes(*table, definition, code, filter);
      if (!passed) {
        return unknown_set(system, "a filter of a kind that cannot be evaluated here");
      }
      inside &= *passed;
    }
    if (inside) {
      entry.codes.push_back(code);
    }
  }
  return {entry};
}

Result<ValueSetExpander::CodeSet> ValueSetExpander::import_set(std::string_view canonical) {
  const SplitCanonical wanted = split_canonical(canonical);
  if (const auto own = sets_.find(wanted.url);
      own != sets_.end() &&
      (wanted.version.empty() || own->second->string_at("version") == wanted.version)) {
    return compose(*own->second);
  }
  if (const ValueSet* known = known_.find_value_set(canonical)) {
    return set_of(*known);
  }
  return unknown_set({}, "it imports a value set that is not loaded");
}

ValueSetExpander::CodeSet ValueSetExpander::set_of(const ValueSet& set) {
  CodeSet result;
  for (const ValueSetPart& part : set.parts) {
    SystemCodes& entry = at(result, part.system);
    entry.whole |= part.kind == ValueSetPart::Kind::kWholeSystem;
    if (part.kind == ValueSetPart::Kind::kUnknown) {
      entry.unknown = true;
      entry.reason = part.reason;
    }
    entry.codes.insert(entry.codes.end(), part.codes.codes().begin(), part.codes.codes().end());
  }
  return result;
}

Result<ValueSetExpander::CodeSet> ValueSetExpander::expand_include(const json::Node& include) {
  CodeSet result;
  bool started = false;
  const std::string_view system = copy_text(texts_, include.string_at("system"));
  if (system.find_first_of(" \t\r\n") != std::string_view::npos) {
    return Error(ErrorCode::kInvalid, "compose.include.system is a uri, without spaces");
  }
  if (!system.empty()) {
    started = true;
    const json::Node* concepts = include.find("concept");
    const json::Node* filters = include.find("filter");
    if (concepts != nullptr && concepts->is_array()) {
      SystemCodes entry;
      entry.system = system;
      TextSet seen;
      for (const json::Node& item : *concepts) {
        const std::string_view code = item.string_at("code");
        if (!code.empty() && seen.insert(code).second) {
          entry.codes.push_back(copy_text(texts_, code));
        }
      }
      result.push_back(std::move(entry));
    } else if (filters != nullptr && filters->is_array()) {
      result = filtered(system, *filters);
    } else {
      at(result, system).whole = true;
    }
  }
  const json::Node* imports = include.find("valueSet");
  if (imports == nullptr || !imports->is_array()) {
    return result;
  }
  for (const json::Node& canonical : *imports) {
    Result<CodeSet> imported = import_set(canonical.text());
    if (!imported) {
      return imported;
    }
    result = started ? intersect(result, *imported) : std::move(*imported);
    started = true;
  }
  return result;
}

Result<ValueSetExpander::CodeSet> ValueSetExpander::compose(const json::Node& definition) {
  if (const auto done = done_.find(&definition); done != done_.end()) {
    return done->second;
  }
  const std::string url(definition.string_at("url"));
  if (std::find(open_.begin(), open_.end(), &definition) != open_.end() ||
      open_.size() >= base::limits::kDefinitionChainMax) {
    return Error(ErrorCode::kInvalid, "value sets import each other in a circle, or too deeply",
                 url);
  }
  open_.push_back(&definition);
  CodeSet result;
  const json::Node* rules = definition.find("compose");
  for (const std::string_view part : {"include", "exclude"}) {
    const json::Node* list = rules != nullptr ? rules->find(part) : nullptr;
    if (list == nullptr || !list->is_array()) {
      continue;
    }
    for (const json::Node& include : *list) {
      Result<CodeSet> codes = expand_include(include);
      if (!codes) {
        open_.pop_back();
        return codes;
      }
      if (part == "include") {
        unite(result, *codes);
      } else {
        result = subtract(result, *codes);
      }
    }
  }
  open_.pop_back();
  done_.emplace(&definition, result);
  return result;
}

namespace {

// Codes of an expansion that came with the definition, by system, in order.
void collect_expansion(const json::Node& list, base::Arena& texts,
                       std::vector<std::pair<std::string_view, std::string_view>>& out) {
  for (const json::Node& item : list) {
    const json::Node* abstract = item.find("abstract");
    const std::string_view code = item.string_at("code");
    if (!code.empty() && (abstract == nullptr || !abstract->boolean)) {
      out.emplace_back(copy_text(texts, item.string_at("system")), copy_text(texts, code));
    }
    if (const json::Node* below = item.find("contains"); below != nullptr && below->is_array()) {
      collect_expansion(*below, texts, out);
    }
  }
}

}  // namespace

Result<ValueSetFacts> ValueSetExpander::expand(const json::Node& definition) {
  ValueSetFacts facts;
  facts.url = copy_text(texts_, definition.string_at("url"));
  facts.version = copy_text(texts_, definition.string_at("version"));
  if (facts.url.empty() || facts.url.find_first_of(" \t\n") != std::string_view::npos) {
    return Error(ErrorCode::kInvalid, "a ValueSet needs a url without spaces",
                 std::string(definition.string_at("id")));
  }
  Result<CodeSet> composed = compose(definition);
  if (!composed) {
    return std::move(composed).error();
  }
  CodeSet codes = std::move(*composed);
  const bool unsure = codes.empty() || std::any_of(codes.begin(), codes.end(),
                                                   [](const auto& e) { return e.unknown; });
  const json::Node* expansion = definition.find("expansion");
  const json::Node* contains = expansion != nullptr ? expansion->find("contains") : nullptr;
  if (unsure && contains != nullptr && contains->is_array()) {
    // Somebody with the code systems at hand expanded it for us.
    std::vector<std::pair<std::string_view, std::string_view>> listed;
    collect_expansion(*contains, texts_, listed);
    codes.clear();
    for (const auto& [system, code] : listed) {
      at(codes, system).codes.push_back(code);
    }
  }
  for (const SystemCodes& entry : codes) {
    using Kind = ValueSetPart::Kind;
    if (entry.whole) {
      facts.parts.push_back({Kind::kWholeSystem, entry.system, {}, {}});
    } else if (!entry.codes.empty()) {
      facts.parts.push_back({Kind::kCodes, entry.system, entry.codes, {}});
    }
    if (entry.unknown) {
      facts.parts.push_back({Kind::kUnknown, entry.system, {}, entry.reason});
    }
  }
  return facts;
}

}  // namespace engine::shapes

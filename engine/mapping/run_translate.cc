// The translate transform: a code, Coding or CodeableConcept through a ConceptMap.

#include <utility>

#include "engine/mapping/runner.h"

namespace engine::mapping {

using base::ErrorCode;
using fhirpath::Item;
using shapes::kNoType;

namespace {

struct SourceCode {
  std::string_view system;
  std::string_view code;
};

// Hands over each code of the item, itself or those in it, until one is taken.
template <class Take>
void each_code(const Item& item, std::string_view text, const TransformNames& names, Take take) {
  const json::Node* node = item.is_node() ? item.at.node : nullptr;
  if (node == nullptr || !node->is_object()) {
    if (!text.empty()) {
      take(SourceCode{{}, text});
    }
    return;
  }
  const auto taken = [&](const json::Node& coding) {
    const json::Node* system = coding.find(names.system);
    const json::Node* code = coding.find(names.code);
    return code != nullptr && !code->text().empty() &&
           take(SourceCode{system != nullptr ? system->text() : std::string_view(), code->text()});
  };
  const json::Node* list = node->find(names.coding);
  if (list == nullptr || !list->is_array()) {
    taken(*node);
    return;
  }
  for (const json::Node& coding : *list) {
    if (taken(coding)) {
      return;
    }
  }
}

}  // namespace

// "No match" is told apart from a wrong table: it names the code and the table, and a person can
// add the row.
bool Runner::missing_translation(const CompiledTarget& target, std::string_view system,
                                 std::string_view code) {
  Untranslated missing{std::string(system), std::string(code), target.table->url,
                       place_text(instance_->map->map.file, target.place)};
  const std::string of_system = system.empty() ? std::string() : " of " + missing.system;
  std::string message = "the code " + missing.code + of_system +
                        " has no translation in the ConceptMap " + target.table->url;
  untranslated.push_back(std::move(missing));
  if (!options_.stop_at_untranslated) {
    return true;
  }
  return fail(target.place, std::move(message), ErrorCode::kNotFound);
}

bool Runner::make_translation(const CompiledTarget& target, const Site* site,
                              std::vector<Made>& out) {
  const std::size_t begin = scratch_.size();
  bool ok = collect_argument(target.arguments[0], scratch_);
  for (std::size_t i = begin; ok && i < scratch_.size(); ++i) {
    ok = translate_item(target, site, scratch_[i], out);
  }
  scratch_.resize(begin);
  return ok;
}

bool Runner::translate_item(const CompiledTarget& target, const Site* site, const Item& item,
                            std::vector<Made>& out) {
  std::optional<SourceCode> first;
  SourceCode from;
  Translation found;
  each_code(item, text_of(item).value_or(""), program_.names, [&](const SourceCode& code) {
    const Translation translation = target.table->translate(code.system, code.code);
    if (found.status == TranslationStatus::kNoMatch ||
        translation.status == TranslationStatus::kFound) {
      found = translation;
      from = code;
    }
    first = first ? first : code;
    return found.status == TranslationStatus::kFound;
  });
  if (!first) {
    return true;
  }
  if (found.status == TranslationStatus::kAmbiguous ||
      found.status == TranslationStatus::kUnusable) {
    return fail(target.place,
                "the code " + std::string(from.code) + " has " +
                    (found.status == TranslationStatus::kAmbiguous
                         ? "several translations"
                         : "no translation that may be used (narrower, inexact, unmatched or "
                           "disjoint)") +
                    " in the ConceptMap " + target.table->url);
  }
  if (found.status == TranslationStatus::kNoMatch) {
    return missing_translation(target, first->system, first->code);
  }
  if (found.provided) {
    const ConceptTarget same{std::string(from.system), std::string(from.code), {}};
    out.push_back(translated(target, site, same));
  } else {
    out.push_back(translated(target, site, *found.target));
  }
  out.back().from = item;
  return true;
}

Made Runner::translated(const CompiledTarget& target, const Site* site, const ConceptTarget& to) {
  TranslateOutput output = target.output;
  if (output == TranslateOutput::kByTarget) {
    output = TranslateOutput::kCode;
    // The element's type, or for a choice the richest form it takes.
    for (const auto& [type, form] : {std::pair{coding_type_, TranslateOutput::kCoding},
                                     std::pair{concept_type_, TranslateOutput::kCodeableConcept}}) {
      if (site == nullptr) {
        continue;
      }
      if (site->member != nullptr) {
        output = site->member->type == type ? form : output;
        continue;
      }
      for (const shapes::Member& member : site->element->members) {
        output = member.type == type ? form : output;
      }
    }
  }
  switch (output) {
    case TranslateOutput::kSystem:
      return {keep_text(to.system)};
    case TranslateOutput::kDisplay:
      return {keep_text(to.display)};
    case TranslateOutput::kCoding:
      return {{}, make_coding(to.system, to.code, to.display), coding_type_};
    case TranslateOutput::kCodeableConcept:
      return {{}, make_concept(to.system, to.code, to.display), concept_type_};
    case TranslateOutput::kByTarget:
    case TranslateOutput::kCode:
      break;
  }
  return {keep_text(to.code)};
}

}  // namespace engine::mapping

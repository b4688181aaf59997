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

// The codes of the item: itself, or the codings in it.
std::vector<SourceCode> codes_of(const Item& item, const std::string& text,
                                 const TransformNames& names) {
  std::vector<SourceCode> codes;
  const json::Node* node = item.is_node() ? item.at.node : nullptr;
  if (node == nullptr || !node->is_object()) {
    if (!text.empty()) {
      codes.push_back({{}, text});
    }
    return codes;
  }
  const auto add = [&](const json::Node& coding) {
    const json::Node* system = coding.find(names.system);
    const json::Node* code = coding.find(names.code);
    if (code != nullptr && !code->text().empty()) {
      codes.push_back({system != nullptr ? system->text() : std::string_view(), code->text()});
    }
  };
  const json::Node* list = node->find(names.coding);
  if (list != nullptr && list->is_array()) {
    for (const json::Node& coding : *list) {
      add(coding);
    }
  } else {
    add(*node);
  }
  return codes;
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
  if (!collect_argument(target.arguments[0], scratch_)) {
    return false;
  }
  const std::vector<Item> items(scratch_.begin() + static_cast<std::ptrdiff_t>(begin),
                                scratch_.end());
  scratch_.resize(begin);
  for (const Item& item : items) {
    const std::string text = text_of(item).value_or("");
    const std::vector<SourceCode> codes = codes_of(item, text, program_.names);
    if (codes.empty()) {
      continue;
    }
    Translation found;
    SourceCode from;
    for (const SourceCode& code : codes) {
      const Translation translation = target.table->translate(code.system, code.code);
      if (found.status == TranslationStatus::kNoMatch ||
          translation.status == TranslationStatus::kFound) {
        found = translation;
        from = code;
      }
      if (found.status == TranslationStatus::kFound) {
        break;
      }
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
      if (!missing_translation(target, codes[0].system, codes[0].code)) {
        return false;
      }
      continue;
    }
    const ConceptTarget same{std::string(from.system), std::string(from.code), {}};
    out.push_back(translated(target, site, found.provided ? same : *found.target));
    out.back().from = item;
  }
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

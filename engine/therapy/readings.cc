#include "engine/therapy/readings.h"

#include <algorithm>
#include <string>
#include <utility>

namespace engine::therapy {
namespace {

using base::Decimal;
using base::Result;
using json::Node;

std::string list_of(const std::vector<std::string>& codes) {
  std::string text;
  for (const std::string& code : codes) {
    text += (text.empty() ? "" : " or ") + code;
  }
  return text;
}

// What carries the word `confirmed` for a node, as a reader names it.
std::string whole_of(const Node& node) {
  const Node* top = &node;
  while (top->parent != nullptr && top->parent->parent != nullptr) {
    top = top->parent;
  }
  const std::string_view name = top->name_text();
  return name == "entry" ? "the entry" : "it in '" + std::string(name) + "'";
}

void refuse(const Node& at, const Datum& datum, const std::string& shown, Report& report) {
  report.error("value", at,
               datum.display + " of " + shown + " is impossible: it lies within " +
                   datum.refuse.text() + (datum.compare_in.empty() ? "" : " " + datum.compare_in) +
                   ". Correct the value.",
               datum.id);
}

// The band that a device narrows, when the quantity stands beside one.
const Band* band_for(const Node& quantity, const Datum& datum) {
  const std::string_view device =
      quantity.parent != nullptr ? quantity.parent->string_at("device") : std::string_view();
  for (const Datum::ByDevice& row : datum.confirm_by_device) {
    if (row.device == device) {
      return &row.band;
    }
  }
  return datum.confirm ? &*datum.confirm : nullptr;
}

void judge(const Node& quantity, const Decimal& value, const std::string& shown,
           std::string_view unit, const Datum& datum, Report& report) {
  for (const Datum::Suspect& suspect : datum.suspects) {
    if (suspect.band.holds(value) && (suspect.unit.empty() || suspect.unit == unit)) {
      if (datum.refuse.holds(value) || !is_confirmed(quantity)) {
        ask(quantity, datum.id,
            datum.display + " of " + shown + " is probably " + suspect.probably + ".", report);
        return;
      }
    }
  }
  if (!datum.refuse.holds(value)) {
    refuse(quantity, datum, shown, report);
    return;
  }
  const Band* band = band_for(quantity, datum);
  if (band != nullptr && !band->holds(value)) {
    ask(quantity, datum.id,
        datum.display + " of " + shown + " is outside the usual " + band->text() + " " +
            datum.compare_in + ".",
        report);
  }
}

// Unit, system and code of a quantity; the UCUM code when they are as they should be.
std::optional<std::string_view> unit_code(const Node& quantity, const Datum* datum,
                                          Report& report) {
  const std::string_view unit = quantity.string_at("unit");
  const std::string_view code = quantity.string_at("code");
  const std::string_view system = quantity.string_at("system");
  if (!system.empty() && system != ucum::kSystem) {
    report.error("value", quantity,
                 "Units are UCUM here: system must be " + std::string(ucum::kSystem) + ".");
    return std::nullopt;
  }
  if (code.empty() && unit.empty()) {
    report.error("required", quantity,
                 "A value without a unit is not accepted: add 'unit'" +
                     (datum != nullptr && !datum->units.empty() ? " (" + list_of(datum->units) + ")"
                                                                : std::string()) +
                     ".");
    return std::nullopt;
  }
  const std::string_view used = code.empty() ? unit : code;
  const bool allowed =
      datum == nullptr || datum->units.empty() ||
      std::find(datum->units.begin(), datum->units.end(), used) != datum->units.end();
  if (!allowed) {
    report.error("value", quantity,
                 "The unit '" + std::string(used) + "' is not allowed for " + datum->display +
                     ": use " + list_of(datum->units) + ".");
    return std::nullopt;
  }
  if (datum == nullptr && !ucum::UnitTable::standard().is_valid(used)) {
    const std::string hint = ucum::UnitTable::standard().suggest(used);
    report.error("value", quantity,
                 "'" + std::string(used) + "' is no UCUM unit" +
                     (hint.empty() ? "." : "; did you mean '" + hint + "'?"));
    return std::nullopt;
  }
  if (const ucum::Suspicion* doubt = ucum::suspect(used)) {
    report.warning("value", quantity,
                   "'" + std::string(used) + "' means " + std::string(doubt->means) +
                       "; probably '" + std::string(doubt->probably) + "' is meant.");
  }
  return used;
}

}  // namespace

bool is_confirmed(const Node& node) {
  for (const Node* at = &node; at != nullptr; at = at->parent) {
    const Node* confirmed = at->is_object() ? at->find("confirmed") : nullptr;
    if (confirmed != nullptr) {
      return confirmed->boolean;
    }
  }
  return false;
}

void ask(const Node& at, std::string_view rule, std::string text, Report& report) {
  if (is_confirmed(at)) {
    report.information("business-rule", at, text + " It was confirmed.", rule);
  } else {
    report.hold("unconfirmed-value", at, text + " Correct it, or confirm " + whole_of(at) + ".",
                rule);
  }
}

void check_number(const Node& node, const Datum& datum, Report& report) {
  Result<Decimal> value = Decimal::parse(node.text());
  if (!value || !datum.refuse.holds(*value)) {
    refuse(node, datum, std::string(node.text()), report);
    return;
  }
  if (!datum.values.empty() &&
      std::find(datum.values.begin(), datum.values.end(), *value) == datum.values.end()) {
    std::string allowed;
    for (const Decimal& one : datum.values) {
      allowed += (allowed.empty() ? "" : ", ") + one.to_string();
    }
    report.error("value", node,
                 datum.display + " of " + std::string(node.text()) +
                     " is not on the scale; it has " + allowed + ".",
                 datum.id);
  }
}

void complete_quantity(json::Document& document, Node& quantity, const Datum* datum,
                       Report& report) {
  const Node* number = quantity.find("value");
  if (number == nullptr || !number->is_number()) {
    if (number == nullptr) {
      report.error("required", quantity, "'value' is missing: add it.");
    }
    return;
  }
  if (quantity.find("comparator") != nullptr) {
    report.error("not-supported", *quantity.find("comparator"),
                 "A reading is an exact value here: remove the comparator.");
    return;
  }
  const std::optional<std::string_view> code = unit_code(quantity, datum, report);
  if (!code) {
    return;
  }
  if (datum != nullptr && !datum->units.empty()) {
    Result<Decimal> value = Decimal::parse(number->text());
    if (!value) {
      report.error("value", *number, "This number is too long for a reading.");
      return;
    }
    std::string shown = std::string(number->text()) + " " + std::string(*code);
    Result<Decimal> compared = *code == datum->compare_in ? value
                                                          : ucum::UnitTable::standard().convert(
                                                                *value, *code, datum->compare_in);
    if (!compared) {
      report.error("value", *number, compared.error().detail);
      return;
    }
    judge(quantity, *compared, shown, *code, *datum, report);
  }
  if (quantity.find("unit") == nullptr) {
    document.append(&quantity, "unit", document.make_string(*code));
  }
  if (quantity.find("system") == nullptr) {
    document.append(&quantity, "system", document.make_string(ucum::kSystem));
  }
  if (quantity.find("code") == nullptr) {
    document.append(&quantity, "code", document.make_string(*code));
  }
}

std::optional<Decimal> value_in(const Node* quantity, std::string_view unit) {
  if (quantity == nullptr) {
    return std::nullopt;
  }
  const Node* number = quantity->find("value");
  if (number == nullptr || !number->is_number()) {
    return std::nullopt;
  }
  Result<Decimal> value = Decimal::parse(number->text());
  if (!value) {
    return std::nullopt;
  }
  std::string_view code = quantity->string_at("code");
  code = code.empty() ? quantity->string_at("unit") : code;
  if (code == unit) {
    return *value;
  }
  Result<Decimal> converted = ucum::UnitTable::standard().convert(*value, code, unit);
  return converted ? std::optional<Decimal>(*converted) : std::nullopt;
}

}  // namespace engine::therapy

// Walk: minValue, maxValue, maxLength. Source: FHIR R4 ElementDefinition. Quantities compare
// through UCUM; what cannot be compared is an error of the value, as the definition asks for a
// limit that can be verified.

#include <algorithm>
#include <optional>
#include <string>

#include "engine/base/utf8.h"
#include "engine/check/compare.h"
#include "engine/check/walk.h"
#include "engine/fhirpath/temporal.h"
#include "engine/ucum/ucum.h"

namespace engine::check {

using shapes::ShapeElement;
using shapes::TypeId;

namespace {

std::optional<int> compare_quantities(const json::Node& a, const json::Node& b) {
  const json::Node* left = a.find("value");
  const json::Node* right = b.find("value");
  if (left == nullptr || right == nullptr) {
    return std::nullopt;
  }
  if (a.string_at("code") == b.string_at("code") &&
      a.string_at("system") == b.string_at("system") &&
      (!a.string_at("code").empty() || a.string_at("unit") == b.string_at("unit"))) {
    return compare_numbers(*left, *right);
  }
  if (a.string_at("system") != ucum::kSystem || b.string_at("system") != ucum::kSystem) {
    return std::nullopt;
  }
  const ucum::UnitTable& units = ucum::UnitTable::standard();
  const base::Result<ucum::Unit> unit = units.parse(a.string_at("code"));
  const base::Result<ucum::Unit> other_unit = units.parse(b.string_at("code"));
  const base::Result<base::Decimal> value = base::Decimal::parse(left->text());
  const base::Result<base::Decimal> other = base::Decimal::parse(right->text());
  if (!unit || !other_unit || !value || !other) {
    return std::nullopt;
  }
  const base::Result<std::strong_ordering> order =
      ucum::compare({*value, *unit}, {*other, *other_unit});
  if (!order) {
    return std::nullopt;
  }
  return *order < 0 ? -1 : (*order > 0 ? 1 : 0);
}

// The value against the limit; nullopt when they cannot be compared.
std::optional<int> compare_to_limit(const json::Node& value, const json::Node& limit) {
  if (value.is_number()) {
    return compare_numbers(value, limit);
  }
  if (value.is_object()) {
    return compare_quantities(value, limit);
  }
  if (!value.is_string() || !limit.is_string()) {
    return std::nullopt;
  }
  if (value.text().find(':') == 2) {  // time: fixed places, so the text orders
    const int order = value.text().compare(limit.text());
    return order < 0 ? -1 : (order > 0 ? 1 : 0);
  }
  switch (compare_times(value.text(), limit.text())) {
    case TimeOrder::kBefore:
      return -1;
    case TimeOrder::kSame:
      return 0;
    case TimeOrder::kAfter:
      return 1;
    case TimeOrder::kOpen:
      return std::nullopt;
  }
  return std::nullopt;
}

// The present moved by a quantity of time, as a date when the value is one; nullopt for a quantity
// of anything else. "a" and "mo" move by calendar years and months, as the limits of ages are
// meant.
std::optional<std::string> moved(std::string_view now, const json::Node& by, bool date_only) {
  const std::optional<fhirpath::Temporal> from = fhirpath::parse_date_time(now);
  const std::optional<fhirpath::CalendarUnit> unit =
      fhirpath::calendar_unit_of_ucum(by.string_at("code"), true);
  const json::Node* number = by.find("value");
  const base::Result<base::Decimal> amount =
      base::Decimal::parse(number != nullptr ? number->text() : std::string_view());
  const std::optional<std::int64_t> whole = amount ? amount->truncated().to_int64() : std::nullopt;
  if (!from || !unit || !whole) {
    return std::nullopt;
  }
  const std::optional<fhirpath::Temporal> to =
      fhirpath::add(fhirpath::ItemKind::kDateTime, *from, *whole, *unit);
  if (!to) {
    return std::nullopt;
  }
  std::string text = fhirpath::print_temporal(fhirpath::ItemKind::kDateTime, *to);
  constexpr std::size_t kDateLength = 10;
  if (date_only) {
    text.resize(std::min(text.size(), kDateLength));
  }
  return text;
}

}  // namespace

// A Quantity as the limit of a date is an offset from the present.
void Walk::relative_limit(const json::Node& node, const json::Node& bound_node, bool is_min,
                          const ShapeElement& element) {
  const std::string_view name = is_min ? "minValue" : "maxValue";
  const bool date_only = node.text().find('T') == std::string_view::npos;
  const std::optional<std::string> at =
      options_.now.empty() ? std::nullopt : moved(options_.now, bound_node, date_only);
  if (!at) {
    report().add(Severity::kInformation, "not-supported", node, [&] {
      return std::string(name) + " is relative to the present, which is not checked here" +
             (options_.now.empty() ? "" : ": " + shown(bound_node) + " is no length of time");
    });
    return;
  }
  const TimeOrder order = compare_times(node.text(), *at);
  if (order == (is_min ? TimeOrder::kBefore : TimeOrder::kAfter)) {
    report().add(Severity::kError, "invalid", node, [&] {
      return "found " + shown(node) + "; " + std::string(element.shape->url) + " allows nothing " +
             (is_min ? "before " : "after ") + *at + ", " + shown(bound_node) + " from now";
    });
  }
}

void Walk::limit(const json::Node& node, const json::Node& bound_node, bool is_min,
                 const ShapeElement& element) {
  const std::string_view name = is_min ? "minValue" : "maxValue";
  if (node.is_string() && bound_node.is_object()) {
    relative_limit(node, bound_node, is_min, element);
    return;
  }
  const std::optional<int> order = compare_to_limit(node, bound_node);
  // Dates of unequal precision overlap the limit: neither inside nor outside for certain.
  if (!order && node.is_string()) {
    return;
  }
  const bool outside = !order || (is_min ? *order < 0 : *order > 0);
  if (!outside) {
    return;
  }
  report().add(Severity::kError, "invalid", node, [&] {
    if (!order) {
      return "found " + shown(node) + ", which cannot be compared with the " + std::string(name) +
             " " + shown(bound_node) + " of " + std::string(element.shape->url);
    }
    return "found " + shown(node) + "; " + std::string(element.shape->url) +
           (is_min ? " allows no less than " : " allows no more than ") + shown(bound_node);
  });
}

void Walk::limits(const json::Node& node, TypeId type, const ShapeElement& element) {
  if (element.limits == nullptr) {
    return;
  }
  const shapes::ValueLimits& limits = *element.limits;
  if (limits.min_value != nullptr) {
    limit(node, *limits.min_value, true, element);
  }
  if (limits.max_value != nullptr) {
    limit(node, *limits.max_value, false, element);
  }
  if (limits.length_max > 0 && node.is_string() && node.length > limits.length_max &&
      type != shapes::kNoType && base::count_scalars(node.text()) > limits.length_max) {
    report().add(Severity::kError, "too-long", node, [&] {
      return "found " + std::to_string(base::count_scalars(node.text())) + " characters; " +
             std::string(element.shape->url) + " allows at most " +
             std::to_string(limits.length_max);
    });
  }
}

}  // namespace engine::check

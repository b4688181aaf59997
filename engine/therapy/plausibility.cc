#include "engine/therapy/plausibility.h"

#include <utility>

namespace engine::therapy {
namespace {

using base::Decimal;
using base::Error;
using base::ErrorCode;
using base::Result;

std::optional<Decimal> number_at(const json::Node& object, std::string_view name) {
  const json::Node* node = object.find(name);
  if (node == nullptr || !node->is_number()) {
    return std::nullopt;
  }
  Result<Decimal> value = Decimal::parse(node->text());
  return value ? std::optional<Decimal>(*value) : std::nullopt;
}

Band band_of(const json::Node& object) {
  return {number_at(object, "low"), number_at(object, "high")};
}

// The member that a dotted path leads to, from the root type of the document.
const shapes::Member* member_at(std::string_view path, const shapes::TypeModel& types,
                                const json::NameTable& names, shapes::TypeId type) {
  const shapes::Member* member = nullptr;
  while (!path.empty()) {
    const std::size_t dot = path.find('.');
    const std::string_view step = path.substr(0, dot);
    path = dot == std::string_view::npos ? std::string_view() : path.substr(dot + 1);
    const json::Name* name = names.find(step);
    member = name != nullptr && type != shapes::kNoType ? types.member(type, name) : nullptr;
    if (member == nullptr) {
      return nullptr;
    }
    type = member->type;
  }
  return member;
}

void read_suspects(const json::Node& list, Datum& datum) {
  for (const json::Node& item : list) {
    datum.suspects.push_back({band_of(item), std::string(item.string_at("unit")),
                              std::string(item.string_at("probably"))});
  }
}

Result<Datum> read_datum(const json::Node& row) {
  Datum datum;
  datum.id = row.string_at("id");
  datum.display = row.string_at("display");
  datum.compare_in = row.string_at("compareIn");
  const auto bad = [&datum](std::string what) {
    return Error(ErrorCode::kInvalid, std::move(what), "plausibility.json: " + datum.id);
  };
  if (datum.id.empty() || datum.display.empty()) {
    return bad("a row needs an id and a display");
  }
  const ucum::UnitTable& table = ucum::UnitTable::standard();
  if (const json::Node* units = row.find("units")) {
    for (const json::Node& unit : *units) {
      datum.units.emplace_back(unit.text());
      if (!table.comparable(unit.text(), datum.compare_in)) {
        return bad("'" + datum.units.back() + "' cannot be compared in '" + datum.compare_in + "'");
      }
    }
    Result<ucum::Unit> unit = table.parse(datum.compare_in);
    if (!unit) {
      return bad(unit.error().detail);
    }
    datum.compare_unit = *unit;
  }
  if (const json::Node* band = row.find("refuse")) {
    datum.refuse = band_of(*band);
  }
  if (const json::Node* band = row.find("confirm")) {
    datum.confirm = band_of(*band);
  }
  if (const json::Node* list = row.find("confirmByDevice")) {
    for (const json::Node& item : *list) {
      datum.confirm_by_device.push_back({std::string(item.string_at("device")), band_of(item)});
    }
  }
  if (const json::Node* list = row.find("suspect")) {
    read_suspects(*list, datum);
  }
  if (const json::Node* list = row.find("values")) {
    for (const json::Node& item : *list) {
      Result<Decimal> value = Decimal::parse(item.text());
      if (!value) {
        return bad("'values' holds numbers only");
      }
      datum.values.push_back(*value);
    }
  }
  if (const json::Node* change = row.find("change")) {
    datum.change_by = number_at(*change, "by");
    datum.change_by_percent = number_at(*change, "byPercent");
    const auto minutes = number_at(*change, "withinMinutes");
    datum.change_minutes = minutes ? static_cast<int>(minutes->to_int64().value_or(0)) : 0;
  }
  datum.over_predicted_percent = number_at(row, "confirmOverPredictedPercent");
  datum.over_ordered_times = number_at(row, "confirmOverOrderedTimes");
  return datum;
}

}  // namespace

std::string Band::text() const {
  if (low && high) {
    return low->to_string() + " to " + high->to_string();
  }
  return low ? low->to_string() + " or more" : (high ? high->to_string() + " or less" : "anything");
}

Result<PlausibilityTable> PlausibilityTable::load(std::string_view text,
                                                  const shapes::TypeModel& types,
                                                  const json::NameTable& names,
                                                  shapes::TypeId session) {
  json::Document document(names);
  Result<void> parsed = document.parse(text);
  if (!parsed) {
    return Error(parsed.error().code, parsed.error().detail,
                 "plausibility.json:" + parsed.error().where);
  }
  const json::Node* rows = document.root()->find("datum");
  if (rows == nullptr || !rows->is_array()) {
    return Error(ErrorCode::kInvalid, "there is no list 'datum'", "plausibility.json");
  }
  PlausibilityTable table;
  for (const json::Node& row : *rows) {
    Result<Datum> datum = read_datum(row);
    if (!datum) {
      return std::move(datum).error();
    }
    const json::Node* elements = row.find("elements");
    for (const json::Node* item = elements != nullptr ? elements->first : nullptr; item != nullptr;
         item = item->next) {
      const shapes::Member* member = member_at(item->text(), types, names, session);
      if (member == nullptr) {
        return Error(ErrorCode::kInvalid,
                     "the model has no element '" + std::string(item->text()) + "'",
                     "plausibility.json: " + datum->id);
      }
      table.by_member_.emplace(member, table.data_.size());
    }
    table.data_.push_back(std::move(*datum));
  }
  return table;
}

const Datum* PlausibilityTable::find(std::string_view id) const {
  for (const Datum& datum : data_) {
    if (datum.id == id) {
      return &datum;
    }
  }
  return nullptr;
}

}  // namespace engine::therapy

#include "tests/mutation/mutations.h"

#include "engine/json/write.h"

namespace mutation {

namespace json = engine::json;
namespace shapes = engine::shapes;
using Kind = Edit::Kind;
using Spoilt = std::optional<Edits>;

namespace {

Edits replace(const json::Node* at, std::string text) {
  return {{Kind::kReplace, at, std::move(text)}};
}
Edits add(const json::Node* at, std::string text) {
  return {{Kind::kAdd, at, std::move(text)}};
}

bool is_object_site(const Site& s) {
  return s.node == nullptr;
}
bool is_nested(const Site& s) {
  return s.node == nullptr && !s.is_resource;
}

// The single value of a member of the type, or its first item.
const json::Node* value_of(const Site& s, std::string_view type) {
  if (s.node == nullptr || s.type != type) {
    return nullptr;
  }
  const json::Node* value = s.node->is_array() ? s.node->first : s.node;
  return value != nullptr && !value->is_null() ? value : nullptr;
}

// Replaces a value of the type.
Spoilt retype(const Site& s, std::string_view type, std::string text) {
  const json::Node* value = value_of(s, type);
  return value != nullptr ? Spoilt(replace(value, std::move(text))) : std::nullopt;
}

Spoilt without_required(const Site& s, const shapes::Catalog&) {
  if (s.node == nullptr || s.shape == nullptr || s.shape->min == 0) {
    return std::nullopt;
  }
  return Edits{{Kind::kRemove, s.node, {}}};
}
Spoilt unknown_property(const Site& s, const shapes::Catalog&) {
  return is_object_site(s) && s.is_resource ? Spoilt(add(s.object, R"("unheardOf":"x")"))
                                            : std::nullopt;
}
Spoilt unknown_nested_property(const Site& s, const shapes::Catalog&) {
  return is_nested(s) ? Spoilt(add(s.object, R"("unheardOf":{"a":1})")) : std::nullopt;
}
Spoilt text_as_number(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.node->is_string() ? Spoilt(replace(s.node, "12")) : std::nullopt;
}
Spoilt object_as_text(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.node->is_object() ? Spoilt(replace(s.node, "\"x\"")) : std::nullopt;
}
Spoilt item_for_array(const Site& s, const shapes::Catalog&) {
  if (s.node == nullptr || !s.node->is_array() || s.node->count != 1) {
    return std::nullopt;
  }
  return replace(s.node, json::to_text(*s.node->first));
}
Spoilt array_for_item(const Site& s, const shapes::Catalog&) {
  if (s.node == nullptr || s.node->is_array()) {
    return std::nullopt;
  }
  return replace(s.node, "[" + json::to_text(*s.node) + "]");
}
Spoilt code_outside(const Site& s, const shapes::Catalog&) {
  const bool bound = s.shape != nullptr && s.shape->binding != nullptr &&
                     s.shape->binding->strength == shapes::Strength::kRequired &&
                     s.shape->binding->value_set != nullptr &&
                     s.shape->binding->value_set->expandable;
  return bound ? retype(s, "code", "\"no-such-code\"") : std::nullopt;
}
Spoilt malformed_date_time(const Site& s, const shapes::Catalog&) {
  return retype(s, "dateTime", "\"2026-3-2\"");
}
Spoilt impossible_date_time(const Site& s, const shapes::Catalog&) {
  return retype(s, "dateTime", "\"2026-02-30\"");
}
Spoilt impossible_date(const Site& s, const shapes::Catalog&) {
  return retype(s, "date", "\"2025-02-29\"");
}
Spoilt month_thirteen(const Site& s, const shapes::Catalog&) {
  return retype(s, "date", "\"2025-13\"");
}
Spoilt time_without_zone(const Site& s, const shapes::Catalog&) {
  return retype(s, "dateTime", "\"2026-03-02T08:10:00\"");
}
Spoilt time_without_seconds(const Site& s, const shapes::Catalog&) {
  return retype(s, "dateTime", "\"2026-03-02T08:10+01:00\"");
}
Spoilt hour_24(const Site& s, const shapes::Catalog&) {
  return retype(s, "dateTime", "\"2026-03-02T24:00:00Z\"");
}
Spoilt instant_as_date(const Site& s, const shapes::Catalog&) {
  return retype(s, "instant", "\"2026-03-02\"");
}
Spoilt time_with_zone(const Site& s, const shapes::Catalog&) {
  return retype(s, "time", "\"08:10:00Z\"");
}
Spoilt choice_of_wrong_type(const Site& s, const shapes::Catalog&) {
  if (s.node == nullptr || !s.element->choice) {
    return std::nullopt;
  }
  for (const shapes::Member& member : s.element->members) {
    if (member.name->text.ends_with("Signature")) {
      return std::nullopt;  // an open choice takes every type
    }
  }
  return Edits{{Kind::kRename, s.node, std::string(s.element->stem->text) + "Signature"}};
}
Spoilt two_choices(const Site& s, const shapes::Catalog&) {
  if (s.node == nullptr || !s.element->choice) {
    return std::nullopt;
  }
  for (const shapes::Member& member : s.element->members) {
    if (&member != s.member && member.name->text.ends_with("String")) {
      return add(s.object, "\"" + std::string(member.name->text) + "\":\"x\"");
    }
    if (&member != s.member && member.name->text.ends_with("DateTime")) {
      return add(s.object, "\"" + std::string(member.name->text) + "\":\"2026-01-01\"");
    }
  }
  return std::nullopt;
}
Spoilt choice_without_type(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.element->choice
             ? Spoilt(Edits{{Kind::kRename, s.node, std::string(s.element->stem->text)}})
             : std::nullopt;
}
Spoilt bad_id(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.is_resource && s.node->name_text() == "id"
             ? Spoilt(replace(s.node, "\"a_b\""))
             : std::nullopt;
}
Spoilt long_id(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.is_resource && s.node->name_text() == "id"
             ? Spoilt(replace(s.node, "\"" + std::string(65, 'a') + "\""))
             : std::nullopt;
}
Spoilt empty_text(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.node->is_string() ? Spoilt(replace(s.node, "\"\"")) : std::nullopt;
}
Spoilt empty_array(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.node->is_array() ? Spoilt(replace(s.node, "[]")) : std::nullopt;
}
Spoilt empty_object(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.node->is_object() ? Spoilt(replace(s.node, "{}")) : std::nullopt;
}
Spoilt empty_item(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.node->is_array() && s.node->first->is_object()
             ? Spoilt(Edits{{Kind::kAddItem, s.node, "{}"}})
             : std::nullopt;
}
Spoilt null_value(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && !s.node->is_array() ? Spoilt(replace(s.node, "null")) : std::nullopt;
}
Spoilt null_item(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.node->is_array() ? Spoilt(Edits{{Kind::kAddItem, s.node, "null"}})
                                                 : std::nullopt;
}
Spoilt misspelt(const Site& s, const shapes::Catalog&) {
  if (s.node == nullptr || s.node->name_text().size() < 3) {
    return std::nullopt;
  }
  std::string name(s.node->name_text());
  std::swap(name[1], name[2]);
  return name == s.node->name_text() ? std::nullopt
                                     : Spoilt(Edits{{Kind::kRename, s.node, std::move(name)}});
}
Spoilt wrong_case(const Site& s, const shapes::Catalog&) {
  if (s.node == nullptr) {
    return std::nullopt;
  }
  std::string name(s.node->name_text());
  name[0] = static_cast<char>(name[0] - 'a' + 'A');
  return Edits{{Kind::kRename, s.node, std::move(name)}};
}
Spoilt twice(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr ? Spoilt(add(s.object, "\"" + std::string(s.node->name_text()) +
                                                      "\":" + json::to_text(*s.node)))
                           : std::nullopt;
}
Spoilt companion_of_complex(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.member->companion == nullptr
             ? Spoilt(add(s.object, "\"_" + std::string(s.node->name_text()) + R"(":{"id":"a"})"))
             : std::nullopt;
}
Spoilt empty_companion(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.member->companion != nullptr && !s.node->is_array()
             ? Spoilt(add(s.object, "\"_" + std::string(s.node->name_text()) + "\":{}"))
             : std::nullopt;
}
Spoilt companion_with_value(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.member->companion != nullptr && !s.node->is_array()
             ? Spoilt(
                   add(s.object, "\"_" + std::string(s.node->name_text()) + R"(":{"value":"a"})"))
             : std::nullopt;
}
Spoilt companions_of_other_length(const Site& s, const shapes::Catalog&) {
  if (s.node == nullptr || s.member->companion == nullptr || !s.node->is_array() ||
      s.object->find(s.member->companion) != nullptr) {
    return std::nullopt;
  }
  std::string items(R"({"id":"a"})");
  for (std::uint32_t i = 0; i < s.node->count; ++i) {
    items += R"(,{"id":"a"})";
  }
  return add(s.object, "\"_" + std::string(s.node->name_text()) + "\":[" + items + "]");
}
Spoilt number_in_quotes(const Site& s, const shapes::Catalog&) {
  return s.node != nullptr && s.node->is_number()
             ? Spoilt(replace(s.node, "\"" + std::string(s.node->text()) + "\""))
             : std::nullopt;
}
Spoilt boolean_in_quotes(const Site& s, const shapes::Catalog&) {
  return retype(s, "boolean", "\"true\"");
}
Spoilt trailing_space(const Site& s, const shapes::Catalog&) {
  const json::Node* value = value_of(s, "code");
  return value != nullptr ? Spoilt(replace(value, "\"" + std::string(value->text()) + " \""))
                          : std::nullopt;
}
Spoilt doubled_space(const Site& s, const shapes::Catalog&) {
  return retype(s, "code", "\"a  b\"");
}
Spoilt space_in_uri(const Site& s, const shapes::Catalog&) {
  return retype(s, "uri", "\"http://a b\"");
}
Spoilt upper_case_uuid(const Site& s, const shapes::Catalog&) {
  return retype(s, "uuid", "\"urn:uuid:0B1C2D3E-4f50-4a61-8b72-93a4b5c6d7e8\"");
}
Spoilt bare_oid(const Site& s, const shapes::Catalog&) {
  return retype(s, "oid", "\"1.2.3\"");
}
Spoilt broken_base64(const Site& s, const shapes::Catalog&) {
  return retype(s, "base64Binary", "\"abc\"");
}
Spoilt positive_zero(const Site& s, const shapes::Catalog&) {
  return retype(s, "positiveInt", "0");
}
Spoilt negative_unsigned(const Site& s, const shapes::Catalog&) {
  return retype(s, "unsignedInt", "-1");
}
Spoilt integer_with_point(const Site& s, const shapes::Catalog&) {
  return retype(s, "integer", "13.0");
}
Spoilt integer_beyond_32_bits(const Site& s, const shapes::Catalog&) {
  return retype(s, "integer", "2147483648");
}

constexpr Mutation kMutations[] = {
    {"required element missing", without_required},
    {"unknown property", unknown_property},
    {"unknown nested property", unknown_nested_property},
    {"number instead of a text", text_as_number},
    {"text instead of an object", object_as_text},
    {"item where an array is required", item_for_array},
    {"array where one value is required", array_for_item},
    {"code outside a required value set", code_outside},
    {"malformed dateTime", malformed_date_time},
    {"dateTime of 30 February", impossible_date_time},
    {"date of 29 February in a common year", impossible_date},
    {"month 13", month_thirteen},
    {"dateTime with a time but no zone", time_without_zone},
    {"dateTime without seconds", time_without_seconds},
    {"hour 24", hour_24},
    {"instant that is a date", instant_as_date},
    {"time with a zone", time_with_zone},
    {"choice of a type not allowed", choice_of_wrong_type},
    {"two choices at once", two_choices},
    {"choice without its type", choice_without_type},
    {"id with a bad character", bad_id},
    {"id of 65 characters", long_id},
    {"empty text", empty_text},
    {"empty array", empty_array},
    {"empty object", empty_object},
    {"empty item", empty_item},
    {"null as a value", null_value},
    {"null as an item", null_item},
    {"misspelt property", misspelt},
    {"property in the wrong case", wrong_case},
    {"property twice", twice},
    {"companion of a complex element", companion_of_complex},
    {"empty companion", empty_companion},
    {"companion with a value", companion_with_value},
    {"companions of another length", companions_of_other_length},
    {"number in quotation marks", number_in_quotes},
    {"boolean in quotation marks", boolean_in_quotes},
    {"code with a space at its end", trailing_space},
    {"code with two spaces", doubled_space},
    {"uri with a space", space_in_uri},
    {"uuid in upper case", upper_case_uuid},
    {"oid without its prefix", bare_oid},
    {"broken base64", broken_base64},
    {"positiveInt of zero", positive_zero},
    {"negative unsignedInt", negative_unsigned},
    {"integer with a point", integer_with_point},
    {"integer beyond 32 bits", integer_beyond_32_bits},
};

}  // namespace

std::span<const Mutation> form_mutations() {
  return kMutations;
}

}  // namespace mutation

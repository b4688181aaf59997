// The transforms' values. Source: FHIR R4 code system map-transform; the mapping language for their
// arguments.

#include <array>
#include <utility>

#include "engine/base/decimal.h"
#include "engine/base/utf8.h"
#include "engine/fhir/primitives.h"
#include "engine/json/write.h"
#include "engine/mapping/dates.h"
#include "engine/mapping/escape.h"
#include "engine/mapping/runner.h"
#include "engine/mapping/typing.h"

namespace engine::mapping {

using base::ErrorCode;
using base::Result;
using fhirpath::Item;
using fhirpath::Items;
using shapes::kNoType;
using shapes::TypeId;

Item Runner::keep_text(std::string_view text) {
  return workspace_.make_string(text);
}

base::Uuid Runner::next_uuid() {
  const std::uint64_t number = uuid_count_++;
  if (options_.next_uuid) {
    return options_.next_uuid();
  }
  return base::name_based_uuid(base::kNamespaceUrl,
                               options_.uuid_seed + "#" + std::to_string(number));
}

// An empty text writes nothing.
void Runner::put(json::Node& object, const json::Name* name, std::string_view text) {
  if (!text.empty()) {
    json::Document::append(&object, name, tree_.document().make_string(text));
  }
}

bool Runner::transform(const CompiledTarget& target, const Site* site, std::vector<Made>& out) {
  switch (target.transform) {
    case TransformKind::kNone:
      return true;
    case TransformKind::kCreate: {
      json::Node* node = make_instance(target.type);
      tree_.watch(*node);
      out.push_back({{}, node, target.type});
      return true;
    }
    case TransformKind::kCopy:
      return copy(target, out);
    case TransformKind::kEvaluate:
      return make_evaluated(target, out);
    case TransformKind::kCast:
      return make_cast(target, out);
    case TransformKind::kTranslate:
      return make_translation(target, site, out);
    case TransformKind::kReference:
    case TransformKind::kPointer:
      return make_reference(target, out);
    case TransformKind::kUuid:
      out.push_back({keep_text(base::to_string(next_uuid()))});
      return true;
    case TransformKind::kTruncate:
    case TransformKind::kEscape:
    case TransformKind::kAppend:
      return make_text(target, out);
    case TransformKind::kCodeableConcept:
    case TransformKind::kCoding:
    case TransformKind::kQuantity:
    case TransformKind::kIdentifier:
    case TransformKind::kContactPoint:
      return make_structure(target, out);
    case TransformKind::kToDate:
    case TransformKind::kToDateTime:
    case TransformKind::kToTime:
      return make_temporal(target, out);
  }
  return true;
}

// What create() made and nobody placed yet is placed itself, so that later targets still write into
// it.
bool Runner::copy(const CompiledTarget& target, std::vector<Made>& out) {
  const CompiledArgument& argument = target.arguments[0];
  if (argument.form == ArgumentForm::kSlot && argument.slot < kFirstConstant) {
    const Cell& from = cell(argument.slot);
    if (from.target != nullptr && from.target->parent == nullptr) {
      for (const json::Node* root : roots_) {
        if (root == from.target) {
          return fail(target.place, "the output cannot be put into itself");
        }
      }
      out.push_back({{}, from.target, from.item.type});
      return true;
    }
  }
  const std::size_t begin = scratch_.size();
  if (!collect_argument(argument, scratch_)) {
    return false;
  }
  for (std::size_t i = begin; i < scratch_.size(); ++i) {
    out.push_back({scratch_[i]});
  }
  scratch_.resize(begin);
  return true;
}

bool Runner::make_evaluated(const CompiledTarget& target, std::vector<Made>& out) {
  const CompiledArgument& value = target.arguments.back();
  std::vector<Item> focus;
  if (target.arguments.size() == 2) {
    if (!collect_argument(target.arguments[0], focus)) {
      return false;
    }
  }
  Result<Items> found = evaluate(*value.expression, focus);
  if (!found) {
    return false;
  }
  for (const Item& item : *found) {
    out.push_back({item});
  }
  return true;
}

bool Runner::collect_texts(const CompiledTarget& target) {
  texts_.clear();
  for (const CompiledArgument& argument : target.arguments) {
    const std::size_t begin = scratch_.size();
    if (!collect_argument(argument, scratch_)) {
      return false;
    }
    const std::size_t count = scratch_.size() - begin;
    const Item item = count == 1 ? scratch_.back() : Item();
    scratch_.resize(begin);
    if (count > 1) {
      return fail(target.place, "an argument of the transform has several values");
    }
    const std::optional<std::string_view> text = texts_.emplace_back(text_of(item));
    const bool only_companion = item.is_node() && item.at.node == nullptr;
    if (count == 1 && !text && !only_companion) {
      return fail(target.place, "an argument of the transform is an object, not a single value");
    }
  }
  return true;
}

bool Runner::make_text(const CompiledTarget& target, std::vector<Made>& out) {
  if (!collect_texts(target)) {
    return false;
  }
  const auto& values = texts_;
  if (target.transform == TransformKind::kAppend) {
    std::string joined;
    for (const std::optional<std::string_view>& value : values) {
      joined += value.value_or("");
    }
    out.push_back({keep_text(joined)});
    return true;
  }
  if (!values[0]) {
    return true;
  }
  if (target.transform == TransformKind::kTruncate) {
    const Result<base::Decimal> count = base::Decimal::parse(values[1].value_or(""));
    const std::optional<std::int64_t> characters =
        count ? count->to_int64() : std::optional<std::int64_t>();
    if (!characters || *characters < 0) {
      return fail(target.place, "truncate takes a number of characters");
    }
    out.push_back({keep_text(first_characters(*values[0], static_cast<std::size_t>(*characters)))});
    return true;
  }
  // escape(source, from, to): with two arguments the source is plain text.
  const bool three = values.size() == 3;
  const Result<std::string> escaped =
      escape_text(*values[0], three ? values[1].value_or("") : "plain",
                  (three ? values[2] : values[1]).value_or(""));
  if (!escaped) {
    return fail(target.place, escaped.error().detail);
  }
  out.push_back({keep_text(*escaped)});
  return true;
}

bool Runner::make_cast(const CompiledTarget& target, std::vector<Made>& out) {
  const std::size_t begin = scratch_.size();
  if (!collect_argument(target.arguments[0], scratch_)) {
    return false;
  }
  const std::vector<Item> items(scratch_.begin() + static_cast<std::ptrdiff_t>(begin),
                                scratch_.end());
  scratch_.resize(begin);
  for (const Item& item : items) {
    const std::optional<std::string_view> text = text_of(item);
    if (!text) {
      return fail(target.place,
                  "an object cannot be cast to a " + std::string(type_name(target.type)));
    }
    json::Node* node = nullptr;
    if (!convert_text(*text, target.type, true, target.place, node)) {
      return false;
    }
    if (node != nullptr) {
      out.push_back({{}, node, target.type, item});
    }
  }
  return true;
}

bool Runner::make_temporal(const CompiledTarget& target, std::vector<Made>& out) {
  if (!collect_texts(target)) {
    return false;
  }
  const auto& values = texts_;
  if (!values[0]) {
    return true;
  }
  const TemporalKind kind = target.transform == TransformKind::kToDate   ? TemporalKind::kDate
                            : target.transform == TransformKind::kToTime ? TemporalKind::kTime
                                                                         : TemporalKind::kDateTime;
  const std::string_view second = values.size() > 1 ? values[1].value_or("") : std::string_view();
  const Result<std::string> text = target.from_ticks ? from_unix_ticks(*values[0], second, kind)
                                                     : reformat_temporal(*values[0], second, kind);
  if (!text) {
    return fail(target.place, text.error().detail);
  }
  const std::string_view name = kind == TemporalKind::kDate   ? "date"
                                : kind == TemporalKind::kTime ? "time"
                                                              : "dateTime";
  json::Node* node = nullptr;
  const TypeId type = model_.find(name).value_or(kNoType);
  if (!convert_text(*text, type, true, target.place, node)) {
    return false;
  }
  if (node != nullptr) {
    out.push_back({{}, node, type});
  }
  return true;
}

// reference(r) is Type/id, pointer(r) is urn:uuid:id; a resource without id gets one.
bool Runner::make_reference(const CompiledTarget& target, std::vector<Made>& out) {
  const CompiledArgument& argument = target.arguments[0];
  const std::size_t begin = scratch_.size();
  if (!collect_argument(argument, scratch_)) {
    return false;
  }
  const std::size_t count = scratch_.size() - begin;
  const Item item = count > 0 ? scratch_.back() : Item();
  scratch_.resize(begin);
  if (count == 0) {
    return true;
  }
  const bool resource = count == 1 && item.is_node() && item.at.node != nullptr &&
                        item.at.node->is_object() && item.type != kNoType &&
                        model_.info(item.type).kind == shapes::TypeKind::kResource;
  if (!resource) {
    return fail(target.place, "reference() and pointer() take one resource");
  }
  std::string id(item.at.node->string_at("id"));
  if (id.empty()) {
    std::string& assigned = assigned_ids_[item.at.node];
    if (assigned.empty()) {
      assigned = base::to_string(next_uuid());
      const bool is_target = argument.form == ArgumentForm::kSlot &&
                             argument.slot < kFirstConstant &&
                             cell(argument.slot).target != nullptr;
      if (is_target) {
        put(*cell(argument.slot).target, program_.names.id, assigned);
      }
    }
    id = assigned;
  }
  const std::string text = target.transform == TransformKind::kReference
                               ? std::string(model_.info(item.type).name) + "/" + id
                               : "urn:uuid:" + id;
  out.push_back({keep_text(text)});
  return true;
}

}  // namespace engine::mapping

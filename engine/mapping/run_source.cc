// Reading the source: steps, conditions, list modes.

#include <algorithm>
#include <utility>

#include "engine/base/limits.h"
#include "engine/json/write.h"
#include "engine/mapping/runner.h"
#include "engine/mapping/typing.h"

namespace engine::mapping {

using base::Result;
using fhirpath::Item;
using fhirpath::Items;
using shapes::kNoType;
using shapes::Member;
using shapes::TypeId;

// One element's value or values: an array's items, each with its companion.
void Runner::emit(const json::Node* node, const json::Node* companion, TypeId type,
                  std::vector<Item>& out) const {
  const auto one = [&](const json::Node* value, const json::Node* beside) {
    value = value != nullptr && value->is_null() ? nullptr : value;
    beside = beside != nullptr && beside->is_object() ? beside : nullptr;
    if (value == nullptr && beside == nullptr) {
      return;
    }
    TypeId actual = type;
    if (value != nullptr && value->is_object() && is_open(type, types_)) {
      actual = types_.resource_type(*value);
    }
    out.push_back(Item::of_node(value, actual, beside));
  };
  const bool arrays =
      (node != nullptr && node->is_array()) || (companion != nullptr && companion->is_array());
  if (!arrays) {
    one(node, companion);
    return;
  }
  const json::Node* value = node != nullptr && node->is_array() ? node->first : nullptr;
  const json::Node* beside =
      companion != nullptr && companion->is_array() ? companion->first : nullptr;
  while (value != nullptr || beside != nullptr) {
    one(value, beside);
    value = value != nullptr ? value->next : nullptr;
    beside = beside != nullptr ? beside->next : nullptr;
  }
}

void Runner::step_choice(const json::Node& object, TypeId type, const json::Name* stem,
                         std::vector<Item>& out) const {
  const shapes::TypeInfo& info = model_.info(type);
  for (const json::Node& child : object) {
    const Member* member = model_.member(type, child.name);
    if (member == nullptr || info.elements[member->element].stem != stem) {
      continue;
    }
    if (child.name == member->name) {
      const json::Node* beside =
          member->companion != nullptr ? object.find(member->companion) : nullptr;
      emit(&child, beside, member->type, out);
    } else if (object.find(member->name) == nullptr) {
      emit(nullptr, &child, member->type, out);
    }
  }
}

void Runner::step_all(const Item& from, bool descend, std::vector<Item>& out) const {
  const json::Node* object =
      from.at.node != nullptr && from.at.node->is_object() ? from.at.node : from.at.companion;
  if (object == nullptr) {
    return;
  }
  const std::size_t begin = out.size();
  for (const json::Node& child : *object) {
    const Member* member = from.type != kNoType ? model_.member(from.type, child.name) : nullptr;
    if (member == nullptr) {
      if (from.type == kNoType) {
        emit(&child, nullptr, kNoType, out);
      }
      continue;
    }
    if (child.name == member->name) {
      const json::Node* beside =
          member->companion != nullptr ? object->find(member->companion) : nullptr;
      emit(&child, beside, member->type, out);
    } else if (object->find(member->name) == nullptr) {
      emit(nullptr, &child, member->type, out);
    }
  }
  if (descend) {
    // Nesting is bounded by the document's.
    const std::size_t end = out.size();
    for (std::size_t i = begin; i < end; ++i) {
      const Item child = out[i];
      step_all(child, true, out);
    }
  }
}

bool Runner::step_by_name(const Item& from, const SourceStep& step, std::vector<Item>& out) {
  const json::Node* object =
      from.at.node != nullptr && from.at.node->is_object() ? from.at.node : from.at.companion;
  if (from.type == kNoType) {
    if (object != nullptr) {
      emit(object->find(step.name), nullptr, kNoType, out);
    }
    return true;
  }
  if (model_.info(from.type).kind == shapes::TypeKind::kPrimitive && step.name->text == "value") {
    if (from.at.node != nullptr) {
      out.push_back(Item::of_node(from.at.node, from.type));
    }
    return true;
  }
  const Member* member = model_.member(from.type, step.name);
  if (member != nullptr && member->name == step.name) {
    if (object != nullptr) {
      emit(object->find(member->name),
           member->companion != nullptr ? object->find(member->companion) : nullptr, member->type,
           out);
    }
    return true;
  }
  if (model_.element(from.type, step.name) == nullptr) {
    return fail(step.place, std::string(type_name(from.type)) + " has no element " +
                                std::string(step.name->text));
  }
  if (object != nullptr) {
    step_choice(*object, from.type, step.name, out);
  }
  return true;
}

bool Runner::step_down(const Item& from, const SourceStep& step, std::vector<Item>& out) {
  if (!from.is_node()) {
    if (step.kind == StepKind::kPrimitiveValue ||
        (step.kind == StepKind::kByName && step.name->text == "value")) {
      out.push_back(from);
    }
    return true;
  }
  const json::Node* object =
      from.at.node != nullptr && from.at.node->is_object() ? from.at.node : from.at.companion;
  switch (step.kind) {
    case StepKind::kMember: {
      if (object == nullptr) {
        return true;
      }
      const Member& member = *step.member;
      emit(object->find(member.name),
           member.companion != nullptr ? object->find(member.companion) : nullptr, member.type,
           out);
      return true;
    }
    case StepKind::kChoice:
      if (object != nullptr && from.type != kNoType) {
        step_choice(*object, from.type, step.element->stem, out);
      }
      return true;
    case StepKind::kPrimitiveValue:
      if (from.at.node != nullptr) {
        out.push_back(Item::of_node(from.at.node, from.type));
      }
      return true;
    case StepKind::kByName:
      return step_by_name(from, step, out);
    case StepKind::kAll:
    case StepKind::kDescendants:
      step_all(from, step.kind == StepKind::kDescendants, out);
      return true;
  }
  return true;
}

// Appends what the steps lead to; after each, what they led to before goes.
bool Runner::collect_path(const Item& from, std::span<const SourceStep> steps,
                          std::vector<Item>& out) {
  if (steps.size() == 1) {
    return step_down(from, steps[0], out);
  }
  const std::size_t begin = out.size();
  out.push_back(from);
  for (const SourceStep& step : steps) {
    const std::size_t end = out.size();
    for (std::size_t i = begin; i < end; ++i) {
      const std::size_t known = out.size();
      const Item item = out[i];
      if (!step_down(item, step, out) || !spend(out.size() - known)) {
        return false;
      }
    }
    out.erase(out.begin() + static_cast<std::ptrdiff_t>(begin),
              out.begin() + static_cast<std::ptrdiff_t>(end));
  }
  return true;
}

// Order: fetch, default, count, type, where, check, log, list mode.
bool Runner::collect_source(const CompiledSource& source, std::size_t begin) {
  const Item context = item_of(cell(source.context));
  if (source.steps.empty()) {
    if (cell(source.context).is_set()) {
      items_.push_back(context);
    }
  } else if (!context.is_nothing() && !collect_path(context, source.steps, items_)) {
    return false;
  }
  if (source.plain && source.where == nullptr) {
    return true;
  }
  if (items_.size() == begin && source.default_value) {
    if (!collect_argument(*source.default_value, items_)) {
      return false;
    }
    for (std::size_t i = begin; i < items_.size(); ++i) {
      if (!text_of(items_[i])) {
        return fail(source.place, "a default is a single value, not an object");
      }
    }
  }
  const std::size_t count = items_.size() - begin;
  if (source.has_cardinality && (count < source.min || count > source.max)) {
    const std::string allowed =
        std::to_string(source.min) + ".." +
        (source.max == shapes::kUnbounded ? std::string("*") : std::to_string(source.max));
    return fail(source.place,
                "there are " + std::to_string(count) + " items where the rule allows " + allowed);
  }
  return filter(source, begin);
}

bool Runner::filter(const CompiledSource& source, std::size_t begin) {
  std::size_t kept = begin;
  for (std::size_t i = begin; i < items_.size(); ++i) {
    const Item item = items_[i];
    if (source.filter != kNoType && !model_.is_a(item_type(item), source.filter)) {
      continue;
    }
    cell(source.slot) = Cell{item, nullptr, nullptr};
    bool holds = true;
    if (source.where != nullptr && !truth(*source.where, item, holds)) {
      return false;
    }
    if (holds) {
      items_[kept++] = item;
    }
  }
  items_.resize(kept);
  for (std::size_t i = begin; source.check != nullptr && i < kept; ++i) {
    cell(source.slot) = Cell{items_[i], nullptr, nullptr};
    bool holds = true;
    if (!truth(*source.check, items_[i], holds)) {
      return false;
    }
    if (!holds) {
      const std::string where = items_[i].is_node() && items_[i].at.node != nullptr
                                    ? " at " + json::pointer_of(*items_[i].at.node)
                                    : std::string();
      return fail(source.check->place,
                  "the check " + source.check->expression.text() + " does not hold" + where);
    }
  }
  for (std::size_t i = begin; source.log != nullptr && i < kept; ++i) {
    cell(source.slot) = Cell{items_[i], nullptr, nullptr};
    const Item focus = items_[i];
    Result<Items> said = evaluate(*source.log, {&focus, 1});
    if (!said) {
      return false;
    }
    for (const Item& item : *said) {
      trace.push_back(
          {place_text(instance_->map->map.file, source.log->place), fhirpath::to_text(item)});
      constexpr std::size_t kBytesOfOneItem = 8;
      if (!spend(trace.back().text.size() / kBytesOfOneItem)) {
        return false;
      }
    }
  }
  return apply_list_mode(source, begin);
}

bool Runner::apply_list_mode(const CompiledSource& source, std::size_t begin) {
  const std::size_t count = items_.size() - begin;
  switch (source.list_mode) {
    case SourceListMode::kNone:
      break;
    case SourceListMode::kFirst:
      items_.resize(begin + std::min<std::size_t>(count, 1));
      break;
    case SourceListMode::kNotFirst:
      if (count > 0) {
        items_.erase(items_.begin() + static_cast<std::ptrdiff_t>(begin));
      }
      break;
    case SourceListMode::kLast:
      if (count > 1) {
        items_[begin] = items_.back();
        items_.resize(begin + 1);
      }
      break;
    case SourceListMode::kNotLast:
      if (count > 0) {
        items_.pop_back();
      }
      break;
    case SourceListMode::kOnlyOne:
      if (count > 1) {
        return fail(source.place,
                    "there are " + std::to_string(count) + " items where the rule allows only one");
      }
      break;
  }
  return true;
}

Result<Items> Runner::evaluate(const CompiledExpression& expression, Items focus) {
  // No expression runs inside another: what they call knows nothing of the run.
  const std::size_t count = expression.slots.size();
  variable_items_.resize(count);
  variables_.resize(count);
  for (std::size_t i = 0; i < count; ++i) {
    const Slot slot = expression.slots[i];
    if (slot >= kFirstConstant) {
      variables_[i] = instance_->map->constants[static_cast<std::size_t>(slot - kFirstConstant)];
      continue;
    }
    Item& value = variable_items_[i];
    value = item_of(cell(slot));
    variables_[i] = value.is_nothing() ? Items() : Items(&value, 1);
  }
  fhirpath::Context context;
  context.focus = focus;
  context.variables = variables_;
  const std::size_t before = workspace_.steps();
  Result<Items> result = expression.expression.evaluate(context, workspace_);
  if (!result) {
    fail(expression.place, expression.expression.text() + ": " + result.error().detail,
         result.error().code);
  } else if (!spend(workspace_.steps() - before)) {
    return *error_;
  }
  return result;
}

bool Runner::truth(const CompiledExpression& expression, const Item& focus, bool& result) {
  const Item item = focus;
  Result<Items> found = evaluate(expression, {&item, 1});
  if (!found) {
    return false;
  }
  if (found->size() > 1) {
    return fail(expression.place, expression.expression.text() + ": a condition gives one value");
  }
  result = !found->empty();
  if (result) {
    const Item& only = (*found)[0];
    if (only.kind == fhirpath::ItemKind::kBoolean) {
      result = only.boolean;
    } else if (only.is_node() && only.at.node != nullptr && only.at.node->is_boolean()) {
      result = only.at.node->boolean;
    }
  }
  return true;
}

bool Runner::collect_argument(const CompiledArgument& argument, std::vector<Item>& out) {
  switch (argument.form) {
    case ArgumentForm::kItem:
      out.push_back(argument.item);
      return true;
    case ArgumentForm::kSlot: {
      const Item item = item_of(cell(argument.slot));
      if (!item.is_nothing()) {
        out.push_back(item);
      }
      return true;
    }
    case ArgumentForm::kPath: {
      const Item from = item_of(cell(argument.slot));
      return from.is_nothing() || collect_path(from, argument.steps, out);
    }
    case ArgumentForm::kExpression: {
      Result<Items> found = evaluate(*argument.expression, {});
      if (found) {
        out.insert(out.end(), found->begin(), found->end());
      }
      return found.has_value();
    }
  }
  return true;
}

}  // namespace engine::mapping

// Writing the target: where a value goes, what it becomes there.

#include <utility>

#include "engine/base/limits.h"
#include "engine/fhir/primitives.h"
#include "engine/json/write.h"
#include "engine/mapping/runner.h"
#include "engine/mapping/typing.h"

namespace engine::mapping {

using base::ErrorCode;
using fhirpath::Item;
using fhirpath::ItemKind;
using fhirpath::ValueClass;
using shapes::kNoType;
using shapes::Member;
using shapes::TypeId;

bool Runner::fail_output() {
  return fail_limit(
      "the output has more than " + std::to_string(base::limits::kMapOutputItemsMax) + " elements",
      "Does the rule copy what it makes? Otherwise send a smaller document.");
}

// Inputs of an element: the source nodes its value was read from; without one, what made the rule
// fire.
void Runner::record(const CompiledRule& rule, const CompiledTarget* target, const json::Node* node,
                    const Item& value) {
  if (!options_.with_lineage) {
    return;
  }
  LineageEntry entry;
  entry.output = node;
  entry.rule = rule.label;
  entry.first_input = static_cast<std::uint32_t>(lineage_inputs.size());
  const auto add = [this, &entry](const Item& item) {
    if (!item.is_node()) {
      return;
    }
    const json::Node* from = item.at.node != nullptr ? item.at.node : item.at.companion;
    for (std::size_t i = entry.first_input; i < lineage_inputs.size(); ++i) {
      if (lineage_inputs[i] == from) {
        return;
      }
    }
    if (from != nullptr) {
      lineage_inputs.push_back(from);
    }
  };
  add(value);
  if (target != nullptr && lineage_inputs.size() == entry.first_input) {
    for (const CompiledArgument& argument : target->arguments) {
      if (argument.slot < kFirstConstant) {
        add(cell(argument.slot).item);
      }
      if (argument.expression != nullptr) {
        for (const Slot slot : argument.expression->slots) {
          if (slot < kFirstConstant && cell(slot).target == nullptr) {
            add(cell(slot).item);
          }
        }
      }
    }
  }
  if (lineage_inputs.size() == entry.first_input) {
    for (const CompiledSource& source : rule.sources) {
      add(cell(source.slot).item);
    }
  }
  entry.input_count = static_cast<std::uint32_t>(lineage_inputs.size()) - entry.first_input;
  lineage.push_back(entry);
}

json::Node* Runner::make_instance(TypeId type) {
  json::Document& document = tree_.document();
  const shapes::TypeInfo& info = model_.info(type);
  if (info.kind == shapes::TypeKind::kPrimitive) {
    return document.make_null();
  }
  json::Node* node = document.make_object();
  if (info.kind == shapes::TypeKind::kResource) {
    json::Document::append(node, program_.names.resource_type, document.make_string(info.name));
  }
  return node;
}

bool Runner::site_of(json::Node& object, TypeId type, const TargetStep& step, Site& site) {
  site.object = &object;
  site.type = type;
  site.element = step.element;
  site.member = step.member;
  if (step.element != nullptr) {
    return true;
  }
  if (type == kNoType) {
    return fail(step.place,
                "the type of the target is not known here: give its group input a type");
  }
  const Member* member = model_.member(type, step.name);
  if (member != nullptr && member->name == step.name) {
    site.element = &model_.info(type).elements[member->element];
    site.member = member;
    return true;
  }
  site.element = model_.element(type, step.name);
  if (site.element == nullptr) {
    return fail(step.place,
                std::string(type_name(type)) + " has no element " + std::string(step.name->text));
  }
  if (site.element->members.size() == 1) {
    site.member = &site.element->members[0];
  }
  return true;
}

// The object that the last step writes into, with what is in between created.
bool Runner::locate(const Cell& context, const CompiledTarget& target, Site& site) {
  json::Node* object = context.target;
  TypeId type = context.item.type;
  if (object == nullptr) {
    return fail(target.place, "the target is not one that can be written");
  }
  if (!object->is_object()) {
    // A primitive: its id and extensions hang on the companion.
    object = context.member != nullptr ? tree_.companion_of(*object, *context.member) : nullptr;
    if (object == nullptr) {
      return fail(target.place, "a single value has no elements to write");
    }
  }
  for (std::size_t i = 0; i < target.steps.size(); ++i) {
    if (!site_of(*object, type, target.steps[i], site)) {
      return false;
    }
    if (i + 1 == target.steps.size()) {
      return true;
    }
    if (site.member == nullptr || is_open(site.member->type, types_)) {
      return fail(target.steps[i].place,
                  std::string(target.steps[i].name->text) + " may have several types here");
    }
    json::Node* inner = descend(site);
    if (inner == nullptr) {
      return false;
    }
    object = inner;
    type = site.member->type;
  }
  return true;
}

// An element in the middle of a path: the one there is, or a new one; a repeating element gets a
// new item.
json::Node* Runner::descend(const Site& site) {
  if (!site.element->repeats) {
    const json::Node* known = static_cast<const json::Node*>(site.object)->find(site.member->name);
    if (known != nullptr) {
      return const_cast<json::Node*>(known);
    }
  }
  if (!count_output(1)) {
    return nullptr;
  }
  json::Node* node = make_instance(site.member->type);
  tree_.attach(*site.object, *site.member, site.element->repeats, node);
  tree_.watch(*node);
  return node;
}

bool Runner::run_target(const CompiledRule& rule, const CompiledTarget& target) {
  if (target.context == kNoSlot) {
    return value_only(target);
  }
  const Cell context = cell(target.context);
  if (!context.is_set()) {
    return true;  // an earlier target of the rule had no value
  }
  if (target.steps.empty()) {
    cell(target.slot) = context;
    if (target.transform == TransformKind::kNone) {
      return true;
    }
    const std::size_t begin = made_.size();
    bool ok = transform(target, nullptr, made_);
    if (ok && made_.size() > begin + 1) {
      ok = fail(target.place, "the target takes one value, not several");
    }
    if (ok && made_.size() > begin) {
      const Made value = made_.back();
      ok = set_primitive(target, cell(target.slot), value);
      if (ok && context.target != nullptr) {
        record(rule, &target, context.target, value.item);
      }
    }
    made_.resize(begin);
    return ok;
  }
  if (target.steps.back().primitive_value) {
    return run_primitive_value(rule, target, context);
  }
  // What has no value makes nothing on the way either.
  const std::size_t begin = made_.size();
  Site site;
  bool ok = true;
  const bool simple_path = target.steps.size() == 1;
  if (simple_path || target.transform == TransformKind::kNone) {
    ok = locate(context, target, site);
  }
  if (ok && target.transform == TransformKind::kNone) {
    return create_by_type(rule, target, site);
  }
  ok = ok && transform(target, simple_path ? &site : nullptr, made_);
  if (ok && !simple_path && made_.size() > begin) {
    ok = locate(context, target, site);
  }
  if (ok && made_.size() > begin + 1 && !site.element->repeats) {
    ok = fail(target.place, std::string(site.element->stem->text) +
                                " takes one value, and the expression gives several");
  }
  for (std::size_t i = begin; ok && i < made_.size(); ++i) {
    Cell placed;
    const Made value = made_[i];
    ok = attach(rule, target, site, value, placed);
    if (ok && i == begin) {
      cell(target.slot) = placed;
    }
  }
  made_.resize(begin);
  return ok;
}

// A call or an expression alone: its value gets a name.
bool Runner::value_only(const CompiledTarget& target) {
  const std::size_t begin = made_.size();
  bool ok = transform(target, nullptr, made_);
  if (ok && made_.size() > begin + 1) {
    ok = fail(target.place, "a variable holds one value, and the expression gives several");
  }
  if (ok && made_.size() > begin) {
    const Made& value = made_.back();
    cell(target.slot) = value.fresh != nullptr
                            ? Cell{Item::of_node(value.fresh, value.type), value.fresh, nullptr}
                            : Cell{value.item, nullptr, nullptr};
  }
  made_.resize(begin);
  return ok;
}

// tgt.value = v on a primitive.
bool Runner::run_primitive_value(const CompiledRule& rule, const CompiledTarget& target,
                                 Cell context) {
  const std::size_t begin = made_.size();
  bool ok = transform(target, nullptr, made_);
  if (ok && made_.size() > begin + 1) {
    ok = fail(target.place, "a single value is set once, and the expression gives several");
  }
  if (ok && made_.size() > begin) {
    Made value = made_.back();
    value.item =
        value.item.is_node() ? Item::of_node(value.item.at.node, value.item.type) : value.item;
    ok = set_primitive(target, context, value);
    if (ok && context.target != nullptr) {
      record(rule, &target, context.target, value.item);
    }
  }
  made_.resize(begin);
  return ok;
}

bool Runner::set_primitive(const CompiledTarget& target, Cell& primitive, const Made& made) {
  if (primitive.target == nullptr || primitive.target->is_object() ||
      primitive.target->is_array()) {
    return fail(target.place, "a whole object cannot be replaced; write its elements");
  }
  json::Node* node = nullptr;
  json::Node* companion = nullptr;
  if (!convert(made, primitive.item.type, target.place, node, companion) || node == nullptr) {
    return !error_;
  }
  if (!primitive.target->is_null() && !json::deep_equal(*primitive.target, *node)) {
    return fail(target.place, "the value is set twice, with different contents");
  }
  primitive.target->kind = node->kind;
  primitive.target->data = node->data;
  primitive.target->length = node->length;
  primitive.target->boolean = node->boolean;
  return true;
}

Shared& Runner::shared(const CompiledTarget& target, const Site& site) {
  return (*shares_)[{site.object, target.share}];
}

// share, collate and single: an instance that is there already. True with `out` set when one is to
// be used.
bool Runner::reuse(const CompiledTarget& target, const Site& site, Cell& out) {
  if (target.share != 0) {
    Shared& list = shared(target, site);
    std::size_t* used = nullptr;
    for (auto& [who, count] : list.used) {
      if (who == &target) {
        used = &count;
      }
    }
    if (used == nullptr) {
      used = &list.used.emplace_back(&target, 0).second;
    }
    const std::size_t index = (*used)++;
    if (index < list.made.size()) {
      out = list.made[index];
      return true;
    }
    return false;
  }
  if (site.member == nullptr) {
    return false;
  }
  const json::Node* known = static_cast<const json::Node*>(site.object)->find(site.member->name);
  if (known == nullptr) {
    return false;
  }
  if (known->is_array()) {
    if (!target.list.collate && !target.list.single) {
      return false;
    }
    known = known->first;
  }
  if (known == nullptr || !known->is_object()) {
    return false;
  }
  out = {Item::of_node(known, site.member->type), const_cast<json::Node*>(known), site.member};
  return true;
}

bool Runner::create_by_type(const CompiledRule& rule, const CompiledTarget& target,
                            const Site& site) {
  Cell& out = cell(target.slot);
  if (reuse(target, site, out)) {
    return true;
  }
  if (site.member == nullptr || is_open(site.member->type, types_)) {
    return fail(target.place, std::string(site.element->stem->text) +
                                  " may have several types: write  = create('...')");
  }
  json::Node* node = make_instance(site.member->type);
  tree_.watch(*node);
  return attach(rule, target, site, {{}, node, site.member->type}, out);
}

// The member's element is there already: fine when it is the same again.
bool Runner::already_there(const CompiledTarget& target, const Site& site, const Member& member,
                           const json::Node& node, json::Node*& known) {
  for (json::Node* child = site.object->first; child != nullptr; child = child->next) {
    if (child->name == member.name) {
      known = child;
    } else if (site.element->choice) {
      const Member* other = site.type != kNoType ? model_.member(site.type, child->name) : nullptr;
      if (other != nullptr && other->element == member.element) {
        return fail(target.place,
                    std::string(site.element->stem->text) + " is set twice, with different types");
      }
    }
  }
  if (known != nullptr && !known->is_null() && !json::deep_equal(*known, node)) {
    return fail(target.place,
                std::string(site.element->stem->text) + " is set twice, with different contents");
  }
  return true;
}

bool Runner::attach(const CompiledRule& rule, const CompiledTarget& target, const Site& site,
                    const Made& made, Cell& out) {
  const TypeId type = made.fresh != nullptr ? made.type : item_type(made.item);
  const Member* member =
      site.member != nullptr ? site.member : member_for(*site.element, type, types_);
  if (member == nullptr) {
    return fail(target.place, std::string(site.element->stem->text) + " is never a " +
                                  std::string(type_name(type)));
  }
  if (target.transform == TransformKind::kCreate && reuse(target, site, out)) {
    return true;
  }
  json::Node* node = nullptr;
  json::Node* companion = nullptr;
  if (!convert(made, member->type, target.place, node, companion)) {
    return false;
  }
  if (node == nullptr && companion == nullptr) {
    return true;
  }
  if (node == nullptr) {
    node = tree_.document().make_null();
  }
  if (!count_output(1)) {
    return false;
  }
  if (!site.element->repeats) {
    json::Node* known = nullptr;
    if (!already_there(target, site, *member, *node, known)) {
      return false;
    }
    if (known != nullptr) {
      out = {Item::of_node(known, member->type), known, member};
      return true;
    }
  }
  const Item& origin = made.fresh != nullptr ? made.from : made.item;
  const bool alone = node->is_null() && companion != nullptr && !site.element->repeats;
  if (alone) {
    json::Document::append(site.object, member->companion, companion);
    record(rule, &target, companion, origin);
    return true;
  }
  tree_.attach(*site.object, *member, site.element->repeats, node, companion);
  const TypeId placed =
      made.fresh != nullptr || is_open(member->type, types_) ? type : member->type;
  out = {Item::of_node(node, placed), node, member};
  record(rule, &target, node, origin);
  if (target.share != 0) {
    shared(target, site).made.push_back(out);
  }
  if (target.list.first || target.list.last) {
    const auto end = target.list.first ? TargetTree::End::kFirst : TargetTree::End::kLast;
    if (!tree_.claim(*node, end, &rule)) {
      return fail(target.place, std::string("two rules claim the ") +
                                    (target.list.first ? "first" : "last") + " place of " +
                                    std::string(site.element->stem->text));
    }
  }
  return true;
}

}  // namespace engine::mapping

// Targets of rules: where a value goes, and whether it may go there.

#include <utility>

#include "engine/mapping/compiler.h"
#include "engine/mapping/suggest.h"

namespace engine::mapping {

using shapes::kNoType;
using shapes::TypeId;
using shapes::TypeKind;

bool Compiler::compile_target_step(TypeId& type, const std::string& name, Place place,
                                   TargetStep& step) {
  step.place = place;
  step.name = program_.catalog.names().find(name);
  if (name == "*" || name == "**") {
    fail(place, "a target names one element; '" + name + "' reads only");
    return false;
  }
  if (is_open(type, program_.types)) {
    if (step.name == nullptr) {
      fail(place, "no known type has an element " + name);
      return false;
    }
    type = kNoType;
    return true;
  }
  if (model().info(type).kind == TypeKind::kPrimitive && name == "value") {
    step.primitive_value = true;
    return true;
  }
  step.element = step.name != nullptr ? model().element(type, step.name) : nullptr;
  if (step.element != nullptr) {
    step.member = step.element->members.size() == 1 ? &step.element->members[0] : nullptr;
  } else if (step.name != nullptr) {
    const shapes::Member* member = model().member(type, step.name);
    if (member != nullptr && member->companion != step.name) {
      step.member = member;
      step.element = &model().info(type).elements[member->element];
    }
  }
  if (step.element == nullptr) {
    fail(place, unknown_element(type, name));
    return false;
  }
  type = step.member == nullptr || is_open(step.member->type, program_.types) ? kNoType
                                                                              : step.member->type;
  return true;
}

TypeId Compiler::compile_target_path(const Path& path, const Scope& scope, CompiledTarget& out,
                                     bool& ok) {
  const Variable* context = variable(scope, path.context, path.place);
  if (context == nullptr) {
    ok = false;
    return kNoType;
  }
  if (!context->is_target && !path.elements.empty()) {
    fail(path.place, path.context + " is a source; only targets can be written");
    ok = false;
    return kNoType;
  }
  out.context = context->slot;
  TypeId type = context->type;
  for (std::size_t i = 0; i < path.elements.size(); ++i) {
    const Place place = i < path.element_places.size() ? path.element_places[i] : path.place;
    TargetStep step;
    if (!compile_target_step(type, path.elements[i], place, step)) {
      ok = false;
      return kNoType;
    }
    const bool last = i + 1 == path.elements.size();
    if (!last && step.element != nullptr && step.member == nullptr) {
      fail(place, path.elements[i] + " may have several types: give it one with create('...')");
      ok = false;
      return kNoType;
    }
    out.steps.push_back(step);
  }
  return type;
}

// Without a transform the element's type says what is made.
void Compiler::check_created_by_type(const Target& target, CompiledTarget& out, TypeId& made) {
  if (out.steps.empty()) {
    return;
  }
  const TargetStep& last = out.steps.back();
  if (last.element == nullptr || last.primitive_value) {
    return;
  }
  const std::string name = target.path->elements.back();
  if (last.member == nullptr || is_open(last.member->type, program_.types)) {
    fail(target.place, name + " may have several types: write  = create('...')  with one of them");
    return;
  }
  if (model().info(last.member->type).kind == TypeKind::kPrimitive ||
      model().info(last.member->type).kind == TypeKind::kSystem) {
    fail(target.place, name + " is a single value (" + std::string(type_name(last.member->type)) +
                           "): write what it gets, as in  = v");
    return;
  }
  made = last.member->type;
}

// Refuses a value whose type is known and that the element never takes; settles the member of a
// choice.
void Compiler::check_value_type(CompiledTarget& out, TypeId value, Place place) {
  if (value == kNoType || out.steps.empty()) {
    return;
  }
  TargetStep& last = out.steps.back();
  if (last.element == nullptr || last.primitive_value) {
    return;
  }
  if (last.member != nullptr) {
    if (!may_stand_for(value, last.member->type, program_.types)) {
      fail(place, std::string(last.name->text) + " is a " +
                      std::string(type_name(last.member->type)) + ", not a " +
                      std::string(type_name(value)));
    }
    return;
  }
  const shapes::Member* member = member_for(*last.element, value, program_.types);
  if (member == nullptr) {
    std::string text =
        std::string(last.name->text) + " is never a " + std::string(type_name(value)) + "; it is";
    for (const shapes::Member& possible : last.element->members) {
      text += (&possible == last.element->members.data() ? " " : ", ") +
              std::string(type_name(possible.type));
    }
    fail(place, text);
    return;
  }
  last.member = member;
}

void Compiler::compile_target(const Target& target, Scope& scope, CompiledTarget& out) {
  out.place = target.place;
  out.list = target.list;
  bool ok = true;
  TypeId made = kNoType;
  bool context_is_target = true;
  if (target.path) {
    made = compile_target_path(*target.path, scope, out, ok);
    if (const Variable* context = scope.find(target.path->context)) {
      context_is_target = context->is_target;
    }
  }
  if (ok && target.transform) {
    compile_transform(target, scope, out, made);
  } else if (ok) {
    check_created_by_type(target, out, made);
  }
  if (!target.list.share.empty()) {
    for (std::size_t i = 0; i < shares_.size() && out.share == 0; ++i) {
      out.share = shares_[i] == target.list.share ? static_cast<std::uint16_t>(i + 1) : 0U;
    }
    if (out.share == 0) {
      shares_.push_back(target.list.share);
      out.share = static_cast<std::uint16_t>(shares_.size());
    }
  }
  // A value without a place in the target (a call or an expression alone) may be read and passed
  // on; what create() made may be written too.
  const bool writable = target.path ? context_is_target || !out.steps.empty() : true;
  out.slot = scope.add(target.variable, made, writable);
}

}  // namespace engine::mapping

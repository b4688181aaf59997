// Sources of rules, paths over the source, arguments.

#include <utility>

#include "engine/mapping/compiler.h"
#include "engine/mapping/suggest.h"

namespace engine::mapping {

using base::Result;
using fhirpath::Item;
using shapes::kNoType;
using shapes::TypeId;

const Variable* Compiler::variable(const Scope& scope, const std::string& name, Place place) {
  const Variable* known = scope.find(name);
  if (known == nullptr) {
    std::vector<std::string_view> names;
    for (const Variable& other : scope.variables()) {
      names.push_back(other.name);
    }
    fail(place, "there is no variable " + name + " here" + did_you_mean(name, names));
  }
  return known;
}

// The sentence for an element that a type does not have, with the nearest right name or all of
// them.
std::string Compiler::unknown_element(TypeId type, std::string_view name) const {
  std::vector<std::string_view> names;
  for (const shapes::Element& element : model().info(type).elements) {
    names.push_back(element.stem->text);
    if (element.choice) {
      for (const shapes::Member& member : element.members) {
        names.push_back(member.name->text);
      }
    }
  }
  std::string text = std::string(type_name(type)) + " has no element " + std::string(name);
  const std::string nearest = did_you_mean(name, names);
  if (!nearest.empty()) {
    return text + nearest;
  }
  text += "; it has ";
  constexpr std::size_t kShown = 20;
  std::size_t shown = 0;
  for (const shapes::Element& element : model().info(type).elements) {
    if (shown == kShown) {
      text += " ...";
      break;
    }
    text += (shown++ == 0 ? "" : ", ") + std::string(element.stem->text);
  }
  return text;
}

// One step down from a type; the type becomes that of the element, or kNoType when it is open.
bool Compiler::compile_step(TypeId& type, const std::string& name, Place place, SourceStep& step) {
  step.place = place;
  if (name == "*" || name == "**") {
    step.kind = name == "*" ? StepKind::kAll : StepKind::kDescendants;
    type = kNoType;
    return true;
  }
  step.name = program_.catalog.names().find(name);
  if (is_open(type, program_.types)) {
    program_.names_read.insert(name);
    step.kind = StepKind::kByName;
    if (step.name == nullptr) {
      fail(place, "no known type has an element " + name);
      return false;
    }
    type = kNoType;
    return true;
  }
  if (model().info(type).kind == shapes::TypeKind::kPrimitive && name == "value") {
    step.kind = StepKind::kPrimitiveValue;
    return true;
  }
  const shapes::Element* element =
      step.name != nullptr ? model().element(type, step.name) : nullptr;
  if (element != nullptr) {
    program_.elements_read.emplace(type, element->stem);
  }
  if (element != nullptr && element->members.size() != 1) {
    step.kind = StepKind::kChoice;
    step.element = element;
    type = kNoType;
    return true;
  }
  const shapes::Member* member = nullptr;
  if (element != nullptr) {
    member = &element->members[0];
  } else if (step.name != nullptr) {
    member = model().member(type, step.name);
  }
  if (member == nullptr || (element == nullptr && member->companion == step.name)) {
    fail(place, unknown_element(type, name));
    return false;
  }
  if (element == nullptr) {
    program_.elements_read.emplace(type, model().info(type).elements[member->element].stem);
  }
  step.kind = StepKind::kMember;
  step.member = member;
  type = is_open(member->type, program_.types) ? kNoType : member->type;
  return true;
}

StaticType Compiler::compile_path(const Path& path, const Scope& scope, Slot& slot,
                                  std::vector<SourceStep>& steps) {
  const Variable* context = variable(scope, path.context, path.place);
  if (context == nullptr) {
    return {kNoType, false};
  }
  slot = context->slot;
  TypeId type = context->type;
  for (std::size_t i = 0; i < path.elements.size(); ++i) {
    const Place place = i < path.element_places.size() ? path.element_places[i] : path.place;
    if (!compile_step(type, path.elements[i], place, steps.emplace_back())) {
      return {kNoType, false};
    }
  }
  return {type, true};
}

std::unique_ptr<CompiledExpression> Compiler::compile_fhirpath(const Expression& expression,
                                                               const Scope& scope, TypeId focus,
                                                               bool has_focus) {
  Result<CompiledExpression> compiled =
      compile_expression(expression, {&scope, map_, focus, has_focus}, vocabulary_, program_);
  if (!compiled) {
    for (const base::Error& known : problems_) {
      if (known.where == compiled.error().where && known.detail == compiled.error().detail) {
        return nullptr;
      }
    }
    problems_.push_back(std::move(compiled).error());
    return nullptr;
  }
  return std::make_unique<CompiledExpression>(std::move(*compiled));
}

void Compiler::compile_source(const Source& source, Scope& scope, CompiledSource& out) {
  out.place = source.place;
  StaticType found = compile_path(source.path, scope, out.context, out.steps);
  if (!source.type.empty()) {
    out.filter = declared_type(*map_, source.type, source.place);
    const bool possible = out.filter == kNoType || found.type == kNoType ||
                          model().is_a(out.filter, found.type) ||
                          model().is_a(found.type, out.filter);
    if (!possible) {
      fail(source.place, "the element is a " + std::string(type_name(found.type)) + ", never a " +
                             std::string(type_name(out.filter)));
    }
    found.type = out.filter;
  }
  out.has_cardinality = source.has_cardinality;
  out.min = source.min.value_or(0);
  out.max = source.max.value_or(shapes::kUnbounded);
  out.list_mode = source.list_mode;
  if (source.default_value) {
    out.default_value.emplace();
    compile_argument(*source.default_value, scope, *out.default_value);
  }
  // A new name for a target variable stays one: tgt as x -> x.y ...
  const Variable* context = scope.find(source.path.context);
  const bool renames_target =
      context != nullptr && context->is_target && source.path.elements.empty();
  out.slot = scope.add(source.variable, found.type, renames_target);
  if (source.where) {
    out.where = compile_fhirpath(*source.where, scope, found.type, true);
  }
  if (source.check) {
    out.check = compile_fhirpath(*source.check, scope, found.type, true);
  }
  if (source.log) {
    out.log = compile_fhirpath(*source.log, scope, found.type, true);
  }
  out.plain = !out.has_cardinality && !out.default_value && out.filter == kNoType &&
              !source.check && !source.log && out.list_mode == SourceListMode::kNone;
}

Item Compiler::literal_item(const Literal& literal) {
  switch (literal.kind) {
    case LiteralKind::kBoolean:
      return Item::of_boolean(literal.text == "true");
    case LiteralKind::kInteger:
    case LiteralKind::kDecimal: {
      Result<base::Decimal> value = base::Decimal::parse(literal.text);
      if (value && literal.kind == LiteralKind::kInteger) {
        if (const auto whole = value->to_int64()) {
          return Item::of_integer(*whole);
        }
      }
      if (value) {
        program_.decimals.push_back(*value);
        return Item::of_decimal(&program_.decimals.back());
      }
      return {};
    }
    case LiteralKind::kString:
      break;
  }
  program_.texts.push_back(literal.text);
  return Item::of_string(program_.texts.back());
}

bool Compiler::compile_argument(const Argument& argument, const Scope& scope,
                                CompiledArgument& out) {
  switch (argument.kind) {
    case ArgumentKind::kLiteral:
      out.form = ArgumentForm::kItem;
      out.item = literal_item(argument.literal);
      if (out.item.is_nothing()) {
        fail(argument.place, "the number " + argument.literal.text + " has too many digits");
        return false;
      }
      return true;
    case ArgumentKind::kPath: {
      out.form = argument.path.elements.empty() ? ArgumentForm::kSlot : ArgumentForm::kPath;
      return compile_path(argument.path, scope, out.slot, out.steps).ok;
    }
    case ArgumentKind::kExpression:
      out.form = ArgumentForm::kExpression;
      out.expression = compile_fhirpath(argument.expression, scope, kNoType, false);
      return out.expression != nullptr;
  }
  return false;
}

}  // namespace engine::mapping

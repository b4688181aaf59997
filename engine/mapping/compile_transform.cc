// Transforms: the table of their names and arguments, and what can be said about their values
// before they run.

#include <array>
#include <utility>

#include "engine/mapping/compiler.h"
#include "engine/mapping/suggest.h"

namespace engine::mapping {

using base::ErrorCode;
using shapes::kNoType;
using shapes::TypeId;
using shapes::TypeKind;

namespace {

struct TransformRow {
  std::string_view name;
  TransformKind kind;
  std::size_t arguments_min;
  std::size_t arguments_max;
  std::string_view makes;  // the type of its value; empty: depends
};

constexpr std::size_t kAny = 64;

// Source: FHIR R4 code system map-transform; the conversions of dates are from the later language.
constexpr std::array<TransformRow, 21> kTransforms = {{
    {"create", TransformKind::kCreate, 0, 1, ""},
    {"copy", TransformKind::kCopy, 1, 1, ""},
    {"truncate", TransformKind::kTruncate, 2, 2, "System.String"},
    {"escape", TransformKind::kEscape, 2, 3, "System.String"},
    {"cast", TransformKind::kCast, 1, 2, ""},
    {"append", TransformKind::kAppend, 1, kAny, "System.String"},
    {"translate", TransformKind::kTranslate, 2, 3, ""},
    {"reference", TransformKind::kReference, 1, 1, "System.String"},
    {"pointer", TransformKind::kPointer, 1, 1, "System.String"},
    {"uuid", TransformKind::kUuid, 0, 0, "System.String"},
    {"evaluate", TransformKind::kEvaluate, 1, 2, ""},
    {"cc", TransformKind::kCodeableConcept, 1, 3, "CodeableConcept"},
    {"c", TransformKind::kCoding, 2, 3, "Coding"},
    {"qty", TransformKind::kQuantity, 1, 4, "Quantity"},
    {"id", TransformKind::kIdentifier, 2, 3, "Identifier"},
    {"cp", TransformKind::kContactPoint, 1, 2, "ContactPoint"},
    {"toDate", TransformKind::kToDate, 1, 2, "date"},
    {"toDateTime", TransformKind::kToDateTime, 1, 2, "dateTime"},
    {"toTime", TransformKind::kToTime, 1, 2, "time"},
    {"unixToDateTime", TransformKind::kToDateTime, 1, 2, "dateTime"},
    {"unixToDate", TransformKind::kToDate, 1, 2, "date"},
}};

const TransformRow* find_transform(std::string_view name) {
  for (const TransformRow& row : kTransforms) {
    if (row.name == name) {
      return &row;
    }
  }
  return nullptr;
}

std::string backticked(const std::string& name) {
  bool plain = !name.empty();
  for (const char c : name) {
    plain = plain && ((c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
                      c == '_');
  }
  return plain ? name : "`" + name + "`";
}

// An argument of evaluate() that looked like a path or a text is FHIRPath all the same.
Expression as_expression(const Argument& argument) {
  switch (argument.kind) {
    case ArgumentKind::kExpression:
      return argument.expression;
    case ArgumentKind::kLiteral:
      return {argument.literal.text, argument.place};
    case ArgumentKind::kPath:
      break;
  }
  std::string text = backticked(argument.path.context);
  for (const std::string& element : argument.path.elements) {
    text += "." + backticked(element);
  }
  return {text, argument.place};
}

}  // namespace

void Compiler::compile_transform(const Target& target, const Scope& scope, CompiledTarget& out,
                                 TypeId& made) {
  const Transform& transform = *target.transform;
  const TransformRow* row = find_transform(transform.name);
  if (row == nullptr) {
    if (transform.name == "dateOp") {
      fail(transform.place, "dateOp was never specified: use toDate, toDateTime, toTime or (expr)",
           ErrorCode::kUnsupported);
      return;
    }
    std::vector<std::string_view> names;
    for (const TransformRow& known : kTransforms) {
      names.push_back(known.name);
    }
    fail(transform.place,
         "there is no transform " + transform.name + did_you_mean(transform.name, names));
    return;
  }
  const std::size_t count = transform.arguments.size();
  if (count < row->arguments_min || count > row->arguments_max) {
    fail(transform.place,
         "the transform " + transform.name + " takes " + std::to_string(row->arguments_min) +
             (row->arguments_max == row->arguments_min ? ""
              : row->arguments_max == kAny             ? " or more"
                                           : " to " + std::to_string(row->arguments_max)) +
             " arguments, not " + std::to_string(count));
    return;
  }
  out.transform = row->kind;
  out.from_ticks = transform.name.substr(0, 4) == "unix";
  switch (row->kind) {
    case TransformKind::kCreate:
      compile_create(transform, scope, out, made);
      return;
    case TransformKind::kEvaluate:
      compile_evaluate(transform, scope, out);
      return;
    case TransformKind::kTranslate:
      compile_translate(transform, scope, out);
      return;
    default:
      break;
  }
  for (const Argument& argument : transform.arguments) {
    if (!compile_argument(argument, scope, out.arguments.emplace_back())) {
      return;
    }
  }
  TypeId value = row->makes.empty() ? kNoType : model().find(row->makes).value_or(kNoType);
  if (row->kind == TransformKind::kCopy) {
    value = copied_type(transform.arguments[0], scope);
  } else if (row->kind == TransformKind::kCast) {
    value = compile_cast(transform, out);
  }
  check_value_type(out, value, transform.place);
  if (out.steps.empty() || made == kNoType) {
    made = value;
  }
}

// What is known of the value that `= v` or `= 'literal'` copies.
TypeId Compiler::copied_type(const Argument& argument, const Scope& scope) const {
  if (argument.kind != ArgumentKind::kLiteral) {
    return type_of(argument, scope);
  }
  switch (argument.literal.kind) {
    case LiteralKind::kString:
      return model().find("System.String").value_or(kNoType);
    case LiteralKind::kInteger:
      return model().find("System.Integer").value_or(kNoType);
    case LiteralKind::kDecimal:
      return model().find("System.Decimal").value_or(kNoType);
    case LiteralKind::kBoolean:
      return model().find("System.Boolean").value_or(kNoType);
  }
  return kNoType;
}

// Written as a text or, as some maps do, without quotation marks.
TypeId Compiler::type_of_name(const Argument& argument) {
  std::string name;
  if (argument.kind == ArgumentKind::kLiteral) {
    name = argument.literal.text;
  } else if (argument.kind == ArgumentKind::kPath && argument.path.elements.empty()) {
    name = argument.path.context;
  }
  if (name.empty()) {
    fail(argument.place, "a type is given by its name, in quotation marks");
    return kNoType;
  }
  return declared_type(*map_, name, argument.place);
}

TypeId Compiler::compile_cast(const Transform& transform, CompiledTarget& out) {
  if (transform.arguments.size() == 2) {
    out.type = type_of_name(transform.arguments[1]);
  } else if (!out.steps.empty() && out.steps.back().member != nullptr) {
    out.type = out.steps.back().member->type;
  } else {
    fail(transform.place, "the element may have several types: write cast(v, 'type')");
    return kNoType;
  }
  if (out.type != kNoType && model().info(out.type).kind != TypeKind::kPrimitive) {
    fail(transform.place,
         "cast makes primitive values, and " + std::string(type_name(out.type)) + " is none");
  }
  return out.type;
}

void Compiler::compile_create(const Transform& transform, const Scope&, CompiledTarget& out,
                              TypeId& made) {
  TargetStep* last = out.steps.empty() ? nullptr : &out.steps.back();
  if (transform.arguments.empty()) {
    if (last == nullptr || last->member == nullptr || is_open(last->member->type, program_.types)) {
      fail(transform.place, "create() has no type to go by: write create('...')");
      return;
    }
    out.type = last->member->type;
  } else {
    out.type = type_of_name(transform.arguments[0]);
  }
  if (out.type == kNoType) {
    return;
  }
  if (model().info(out.type).abstract) {
    fail(transform.place, std::string(type_name(out.type)) + " is abstract: name a type of it");
    return;
  }
  made = out.type;
  if (last != nullptr && last->element != nullptr && last->member != nullptr) {
    const TypeId wanted = last->member->type;
    const bool fits = is_open(wanted, program_.types)
                          ? model().info(out.type).kind == shapes::TypeKind::kResource
                          : model().is_a(out.type, wanted) || model().is_a(wanted, out.type);
    if (!fits) {
      fail(transform.place, std::string(last->name->text) + " is a " +
                                std::string(type_name(wanted)) + ", not a " +
                                std::string(type_name(out.type)));
    }
    return;
  }
  check_value_type(out, out.type, transform.place);
}

void Compiler::compile_evaluate(const Transform& transform, const Scope& scope,
                                CompiledTarget& out) {
  TypeId focus = kNoType;
  const bool has_focus = transform.arguments.size() == 2;
  if (has_focus) {
    if (!compile_argument(transform.arguments[0], scope, out.arguments.emplace_back())) {
      return;
    }
    focus = type_of(transform.arguments[0], scope);
  }
  CompiledArgument& value = out.arguments.emplace_back();
  value.form = ArgumentForm::kExpression;
  value.expression =
      compile_fhirpath(as_expression(transform.arguments.back()), scope, focus, has_focus);
}

const ConceptMap* Compiler::find_table(const std::string& uri, Place place) {
  const std::string wanted = !uri.empty() && uri.front() == '#' ? map_->map.url + uri : uri;
  std::vector<std::string_view> names;
  for (const ConceptMap& table : program_.tables) {
    if (table.url == wanted) {
      return &table;
    }
    names.push_back(table.url);
  }
  // A table without a canonical url of its own is known by its id: ConceptMap/<id>, under any base.
  const ConceptMap* found = nullptr;
  for (const ConceptMap& table : program_.tables) {
    const std::string tail = "ConceptMap/" + table.id;
    const bool by_id = !table.id.empty() && table.url == tail && wanted.size() >= tail.size() &&
                       wanted.compare(wanted.size() - tail.size(), tail.size(), tail) == 0;
    const bool contained = !uri.empty() && uri.front() == '#' && table.id == uri.substr(1);
    if (by_id || contained) {
      found = &table;
    }
  }
  if (found == nullptr) {
    fail(place, "there is no ConceptMap " + uri + did_you_mean(wanted, names),
         ErrorCode::kNotFound);
  }
  return found;
}

void Compiler::compile_translate(const Transform& transform, const Scope& scope,
                                 CompiledTarget& out) {
  if (!compile_argument(transform.arguments[0], scope, out.arguments.emplace_back())) {
    return;
  }
  if (transform.arguments[1].kind != ArgumentKind::kLiteral) {
    fail(transform.arguments[1].place, "the ConceptMap is named by its url, in quotation marks");
    return;
  }
  out.table = find_table(transform.arguments[1].literal.text, transform.arguments[1].place);
  if (transform.arguments.size() < 3) {
    return;
  }
  static constexpr std::array<std::pair<std::string_view, TranslateOutput>, 5> kOutputs = {{
      {"code", TranslateOutput::kCode},
      {"system", TranslateOutput::kSystem},
      {"display", TranslateOutput::kDisplay},
      {"Coding", TranslateOutput::kCoding},
      {"CodeableConcept", TranslateOutput::kCodeableConcept},
  }};
  const std::string& wanted = transform.arguments[2].literal.text;
  bool known = false;
  for (const auto& [name, output] : kOutputs) {
    if (name == wanted) {
      out.output = output;
      known = true;
    }
  }
  if (!known) {
    fail(transform.arguments[2].place,
         "translate gives 'code', 'system', 'display', 'Coding' or 'CodeableConcept', not '" +
             wanted + "'");
    return;
  }
  const std::string_view type = out.output == TranslateOutput::kCoding ? "Coding"
                                : out.output == TranslateOutput::kCodeableConcept
                                    ? "CodeableConcept"
                                    : "System.String";
  check_value_type(out, model().find(type).value_or(kNoType), transform.place);
}

}  // namespace engine::mapping

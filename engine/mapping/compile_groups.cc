// Groups and rules. A group is compiled once for each combination of input types it is called with,
// so that an untyped group is checked with the types it really sees.

#include <utility>

#include "engine/base/limits.h"
#include "engine/mapping/compiler.h"
#include "engine/mapping/suggest.h"

namespace engine::mapping {

using base::Error;
using base::ErrorCode;
using shapes::kNoType;
using shapes::TypeId;

FoundGroup Compiler::find_group(ParsedMap& map, const std::string& name, Place place) {
  for (const Group& group : map.map.groups) {
    if (group.name == name) {
      return {&map, &group};
    }
  }
  FoundGroup found;
  for (const ParsedMap* imported : map.imports) {
    for (const Group& group : imported->map.groups) {
      if (group.name != name) {
        continue;
      }
      if (found.group != nullptr) {
        fail(place, "the group " + name + " is in two imported maps: " + found.map->map.url +
                        " and " + imported->map.url);
        return {};
      }
      found = {const_cast<ParsedMap*>(imported), &group};
    }
  }
  if (found.group == nullptr) {
    std::vector<std::string_view> names;
    for (const Group& group : map.map.groups) {
      names.push_back(group.name);
    }
    for (const ParsedMap* imported : map.imports) {
      for (const Group& group : imported->map.groups) {
        names.push_back(group.name);
      }
    }
    fail(place, "there is no group " + name + did_you_mean(name, names));
  }
  return found;
}

Instance* Compiler::instance(const FoundGroup& found, std::vector<TypeId> types, Place place) {
  const auto [at, fresh] = known_.try_emplace({found.map, found.group, types}, nullptr);
  if (!fresh) {
    return at->second;
  }
  if (program_.instances.size() >= base::limits::kMapInstancesMax) {
    give_up(place, "groups are called with more than " +
                       std::to_string(base::limits::kMapInstancesMax) +
                       " combinations of types, the next one that of " + found.group->name +
                       " of the map " + found.map->map.url);
    known_.erase(at);
    return nullptr;
  }
  Instance& made = program_.instances.emplace_back();
  made.map = found.map;
  made.group = found.group;
  made.types = std::move(types);
  at->second = &made;
  waiting_.push_back(&made);
  return &made;
}

// A limit of the whole set: what would follow is left, and one problem tells of it.
void Compiler::give_up(Place place, std::string message) {
  if (!gave_up_) {
    fail(place,
         std::move(message) +
             ". Give the inputs of groups types, so that one form serves "
             "all callers, or load fewer maps together.",
         ErrorCode::kLimit);
  }
  gave_up_ = true;
  waiting_.clear();
}

void Compiler::compile_instance(Instance& instance) {
  map_ = const_cast<ParsedMap*>(instance.map);
  group_ = instance.group;
  shares_.clear();
  Scope scope;
  for (std::size_t i = 0; i < group_->inputs.size(); ++i) {
    scope.add(group_->inputs[i].name, instance.types[i], !group_->inputs[i].is_source);
  }
  if (!group_->extends.empty()) {
    instance.base = compile_base(instance);
  }
  instance.rules = compile_rules(group_->rules, scope);
  instance.slot_count = scope.slot_count();
  instance.has_shares = !shares_.empty();
  if (scope.slot_count() >= kFirstConstant) {
    fail(group_->place, "the group has too many variables", ErrorCode::kLimit);
  }
}

// The extended group has the same parameters by mode, name and type; further ones may follow.
const Instance* Compiler::compile_base(Instance& instance) {
  const FoundGroup found = find_group(*map_, group_->extends, group_->extends_place);
  if (found.group == nullptr) {
    return nullptr;
  }
  // A chain that comes back to this group would run for ever.
  FoundGroup up = found;
  for (std::size_t steps = 0; up.group != nullptr; ++steps) {
    if (up.group == group_ || steps > base::limits::kMapCallDepthMax) {
      fail(group_->extends_place, "the group " + group_->name + " extends itself");
      return nullptr;
    }
    if (up.group->extends.empty()) {
      break;
    }
    up = find_group(*up.map, up.group->extends, up.group->extends_place);
  }
  const std::vector<GroupInput>& base = found.group->inputs;
  const std::vector<GroupInput>& own = group_->inputs;
  bool same = base.size() <= own.size();
  for (std::size_t i = 0; same && i < base.size(); ++i) {
    const TypeId base_type = type_named(*found.map, base[i].type);
    const bool types_agree =
        base[i].type.empty() || own[i].type.empty() ||
        may_stand_for(type_named(*map_, own[i].type), base_type, program_.types);
    same = base[i].is_source == own[i].is_source && base[i].name == own[i].name && types_agree;
  }
  if (!same) {
    fail(group_->extends_place, "the inputs of " + group_->name + " do not begin with those of " +
                                    found.group->name + ", which it extends");
    return nullptr;
  }
  std::vector<TypeId> types(instance.types.begin(),
                            instance.types.begin() + static_cast<std::ptrdiff_t>(base.size()));
  return this->instance(found, std::move(types), group_->extends_place);
}

std::vector<CompiledRule> Compiler::compile_rules(const std::vector<Rule>& rules, Scope& scope) {
  std::vector<CompiledRule> compiled(rules.size());
  for (std::size_t i = 0; i < rules.size() && !gave_up_; ++i) {
    compile_rule(rules[i], scope, compiled[i]);
  }
  return compiled;
}

namespace {

bool is_simple(const Rule& rule) {
  if (rule.sources.size() != 1 || rule.targets.size() != 1 || !rule.dependents.empty() ||
      !rule.rules.empty()) {
    return false;
  }
  const Source& source = rule.sources[0];
  const Target& target = rule.targets[0];
  return source.variable.empty() && !source.path.elements.empty() && target.path.has_value() &&
         !target.path->elements.empty() && !target.transform && target.variable.empty();
}

}  // namespace

void Compiler::compile_rule(const Rule& rule, Scope& scope, CompiledRule& out) {
  if (++compiled_rules_ > base::limits::kMapCompiledRulesMax) {
    give_up(rule.place, "the rules of the set are compiled more than " +
                            std::to_string(base::limits::kMapCompiledRulesMax) +
                            " times, once for each combination of types that their groups are "
                            "called with, the next one '" +
                            rule.name + "' of " + group_->name + " of the map " + map_->map.url);
    return;
  }
  out.place = rule.place;
  out.label = &program_.rules[numbers_[&rule]].label;
  const std::size_t mark = scope.mark();
  out.simple = is_simple(rule);
  out.sources.resize(rule.sources.size());
  for (std::size_t i = 0; i < rule.sources.size(); ++i) {
    compile_source(rule.sources[i], scope, out.sources[i]);
  }
  if (out.simple) {
    compile_simple(rule, scope, out);
  } else {
    out.targets.resize(rule.targets.size());
    for (std::size_t i = 0; i < rule.targets.size(); ++i) {
      compile_target(rule.targets[i], scope, out.targets[i]);
    }
  }
  for (const Dependent& dependent : rule.dependents) {
    compile_call(dependent, scope, out);
  }
  out.rules = compile_rules(rule.rules, scope);
  scope.forget(mark);
}

void Compiler::compile_simple(const Rule& rule, const Scope& scope, CompiledRule& out) {
  const Target& target = rule.targets[0];
  CompiledTarget& to = out.targets.emplace_back();
  to.place = target.place;
  to.list = target.list;
  bool ok = true;
  compile_target_path(*target.path, scope, to, ok);
  const TypeId from = scope.variables().back().type;
  if (!ok || from == kNoType || to.steps.empty()) {
    return;
  }
  const TargetStep& last = to.steps.back();
  if (last.element == nullptr) {
    return;
  }
  const TypeId wanted = last.member != nullptr ? last.member->type : kNoType;
  for (const std::vector<DefaultGroup>* groups : {&map_->own_defaults, &map_->imported_defaults}) {
    for (const DefaultGroup& group : *groups) {
      if (wanted != kNoType && group.source == from && group.target == wanted) {
        out.simple_call = group.instance;
        return;
      }
      if (wanted == kNoType && group.source == from && group.mode == TypeMode::kTypeAndTypes) {
        return;  // chosen at run time among all
      }
    }
  }
  const bool copies = wanted != kNoType
                          ? may_stand_for(from, wanted, program_.types)
                          : member_for(*last.element, from, program_.types) != nullptr;
  if (!copies) {
    fail(target.place, "there is no default group from " + std::string(type_name(from)) + " to " +
                           std::string(type_name(wanted)) + ", and one is no copy of the other");
  }
}

TypeId Compiler::type_of(const Argument& argument, const Scope& scope) const {
  if (argument.kind == ArgumentKind::kPath && argument.path.elements.empty()) {
    const Variable* known = scope.find(argument.path.context);
    return known != nullptr ? known->type : kNoType;
  }
  return kNoType;
}

void Compiler::compile_call(const Dependent& dependent, const Scope& scope, CompiledRule& out) {
  const FoundGroup found = find_group(*map_, dependent.group, dependent.place);
  if (found.group == nullptr) {
    return;
  }
  const std::vector<GroupInput>& inputs = found.group->inputs;
  if (inputs.size() != dependent.arguments.size()) {
    fail(dependent.place, "the group " + dependent.group + " takes " +
                              std::to_string(inputs.size()) + " inputs, not " +
                              std::to_string(dependent.arguments.size()));
    return;
  }
  CompiledCall call;
  call.place = dependent.place;
  std::vector<TypeId> types;
  for (std::size_t i = 0; i < inputs.size(); ++i) {
    const Argument& argument = dependent.arguments[i];
    CompiledArgument& compiled = call.arguments.emplace_back();
    if (!compile_argument(argument, scope, compiled)) {
      return;
    }
    const Variable* known = argument.kind == ArgumentKind::kPath && argument.path.elements.empty()
                                ? scope.find(argument.path.context)
                                : nullptr;
    if (!inputs[i].is_source && (known == nullptr || !known->is_target)) {
      fail(argument.place, "the input " + inputs[i].name + " of " + dependent.group +
                               " is a target: give it a target variable");
      return;
    }
    const TypeId declared = type_named(*found.map, inputs[i].type);
    const TypeId actual = type_of(argument, scope);
    if (!may_stand_for(actual, declared, program_.types)) {
      fail(argument.place, "the input " + inputs[i].name + " of " + dependent.group + " is a " +
                               std::string(type_name(declared)) + ", not a " +
                               std::string(type_name(actual)));
      return;
    }
    types.push_back(actual != kNoType ? actual : declared);
  }
  call.instance = instance(found, std::move(types), dependent.place);
  if (call.instance != nullptr) {
    out.calls.push_back(std::move(call));
  }
}

}  // namespace engine::mapping

#include "engine/mapping/runner.h"

#include <algorithm>
#include <new>
#include <utility>

#include "engine/base/limits.h"
#include "engine/mapping/typing.h"

namespace engine::mapping {

using base::Error;
using base::ErrorCode;
using base::Result;
using fhirpath::Item;
using shapes::kNoType;
using shapes::TypeId;

Runner::Runner(const Program& program, json::Document& output, RunOptions options)
    : program_(program),
      types_(program.types),
      model_(program.types.model()),
      options_(std::move(options)),
      tree_(output) {
  const auto type = [this](std::string_view name) { return model_.find(name).value_or(kNoType); };
  string_type_ = type("System.String");
  integer_type_ = type("System.Integer");
  decimal_type_ = type("System.Decimal");
  boolean_type_ = type("System.Boolean");
  date_type_ = type("date");
  date_time_type_ = type("dateTime");
  time_type_ = type("time");
  quantity_type_ = type("Quantity");
  coding_type_ = type("Coding");
  concept_type_ = type("CodeableConcept");
  identifier_type_ = type("Identifier");
  contact_point_type_ = type("ContactPoint");
  workspace_.host_context = options_.host_context;
}

bool Runner::fail(Place place, std::string message, ErrorCode code) {
  if (!error_) {
    const std::string& file = instance_ != nullptr ? instance_->map->map.file : std::string();
    error_ = Error(code, std::move(message), place_text(file, place));
  }
  return false;
}

// Names the rule that was at it, its map and its line, what was reached, and what to do.
bool Runner::fail_limit(std::string what, std::string_view advice) {
  if (error_) {
    return false;
  }
  if (rule_ != nullptr) {
    what += " at the rule '" + rule_->label->name + "'";
  }
  what += " of the map " + instance_->map->map.url + ". " + std::string(advice);
  fail(rule_ != nullptr ? rule_->place : instance_->group->place, std::move(what),
       ErrorCode::kLimit);
  if (rule_ != nullptr) {
    // Not always of the map that the innermost group stands in.
    error_->where = rule_->label->place + ":" + std::to_string(rule_->place.column);
  }
  return false;
}

bool Runner::fail_work() {
  return fail_limit(
      "the run has gone through more than " + std::to_string(base::limits::kMapWorkMax) + " items",
      "Do its sources or conditions multiply each other? Narrow them with a where, "
      "or send a smaller document.");
}

std::string_view Runner::type_name(TypeId type) const {
  return type == kNoType ? std::string_view("value of unknown type") : model_.info(type).name;
}

TypeId Runner::item_type(const Item& item) const {
  switch (item.kind) {
    case fhirpath::ItemKind::kNode:
      return item.type;
    case fhirpath::ItemKind::kBoolean:
      return boolean_type_;
    case fhirpath::ItemKind::kInteger:
      return integer_type_;
    case fhirpath::ItemKind::kDecimal:
      return decimal_type_;
    case fhirpath::ItemKind::kString:
      return string_type_;
    case fhirpath::ItemKind::kDate:
      return date_type_;
    case fhirpath::ItemKind::kDateTime:
      return date_time_type_;
    case fhirpath::ItemKind::kTime:
      return time_type_;
    case fhirpath::ItemKind::kQuantity:
      return quantity_type_;
    case fhirpath::ItemKind::kNothing:
    case fhirpath::ItemKind::kTypeName:
      break;
  }
  return kNoType;
}

// What a cell is to somebody who reads it. A primitive target that has no value yet is only its
// companion.
Item Runner::item_of(const Cell& cell) const {
  if (cell.target == nullptr) {
    return cell.item;
  }
  const json::Node* companion =
      cell.member != nullptr ? TargetTree::find_companion(*cell.target, *cell.member) : nullptr;
  const json::Node* node = cell.target->is_null() ? nullptr : cell.target;
  if (node == nullptr && companion == nullptr) {
    return {};
  }
  return Item::of_node(node, cell.item.type, companion);
}

bool Runner::bind(const Instance& instance, std::span<const Binding> bindings) {
  const std::vector<GroupInput>& inputs = instance.group->inputs;
  if (bindings.size() != inputs.size()) {
    return fail(instance.group->place, "the group " + instance.group->name + " takes " +
                                           std::to_string(inputs.size()) + " inputs, not " +
                                           std::to_string(bindings.size()));
  }
  cells_.assign(std::max<std::size_t>(instance.slot_count, 64), Cell{});
  base_ = 0;
  for (std::size_t i = 0; i < inputs.size(); ++i) {
    const Binding& binding = bindings[i];
    const json::Node* node = binding.target != nullptr ? binding.target : binding.source;
    if (node == nullptr || (binding.target == nullptr) != inputs[i].is_source) {
      return fail(inputs[i].place, "the input " + inputs[i].name + " is a " +
                                       (inputs[i].is_source ? "source" : "target"));
    }
    TypeId type = binding.type;
    if (type == kNoType && node->is_object()) {
      type = types_.resource_type(*node);
    }
    if (type == kNoType) {
      type = instance.types[i];
    }
    const TypeId wanted = instance.types[i];
    if (wanted != kNoType && !model_.is_a(type, wanted)) {
      return fail(inputs[i].place, "the input " + inputs[i].name + " is a " +
                                       std::string(type_name(wanted)) + ", not a " +
                                       std::string(type_name(type)));
    }
    cells_[i] = {Item::of_node(node, type), binding.target, nullptr};
    if (binding.target != nullptr) {
      roots_.push_back(binding.target);
    }
  }
  return true;
}

Result<void> Runner::call(std::uint32_t group, std::span<const Binding> bindings) {
  ENGINE_CHECK(group < program_.entry_points.size());
  const Instance* instance = program_.entry_points[group];
  error_.reset();
  workspace_.reset();
  items_.clear();
  scratch_.clear();
  arguments_.clear();
  depth_ = 0;
  frames_ = 0;
  steps_ = 0;
  work_ = 0;
  break_noted_ = false;
  instance_ = instance;
  rule_ = nullptr;
  try {
    if (bind(*instance, bindings)) {
      run_instance(*instance, 0);
    }
  } catch (const std::bad_alloc&) {
    fail_limit("the run needs more memory than is allowed",
               "Make less of it, or send a smaller document.");
  }
  instance_ = nullptr;
  if (error_) {
    return *std::move(error_);
  }
  return {};
}

bool Runner::run_instance(const Instance& instance, std::size_t base) {
  const std::size_t outer_base = std::exchange(base_, base);
  const Instance* outer_instance = std::exchange(instance_, &instance);
  std::map<ShareKey, Shared>* outer_shares = shares_;
  std::map<ShareKey, Shared> shares;
  if (instance.has_shares) {
    shares_ = &shares;
  }
  bool ok = true;
  if (instance.base != nullptr) {
    const auto inputs = cells_.begin() + static_cast<std::ptrdiff_t>(base);
    const std::size_t begin_arguments = arguments_.size();
    arguments_.insert(arguments_.end(), inputs,
                      inputs + static_cast<std::ptrdiff_t>(instance.base->types.size()));
    ok = enter(*instance.base, begin_arguments);
  }
  ok = ok && run_rules(instance.rules);
  shares_ = outer_shares;
  instance_ = outer_instance;
  base_ = outer_base;
  return ok;
}

// Runs the group on the arguments from there on, which are its own then.
bool Runner::enter(const Instance& instance, std::size_t begin_arguments) {
  if (++depth_ > base::limits::kMapCallDepthMax) {
    return fail_limit("groups call each other more than " +
                          std::to_string(base::limits::kMapCallDepthMax) +
                          " deep, the next being " + instance.group->name + ",",
                      "Is there a loop without end? Otherwise let fewer groups call each other.");
  }
  const std::size_t base = base_ + instance_->slot_count;
  if (cells_.size() < base + instance.slot_count) {
    cells_.resize((base + instance.slot_count) * 2);
  }
  std::copy(arguments_.begin() + static_cast<std::ptrdiff_t>(begin_arguments), arguments_.end(),
            cells_.begin() + static_cast<std::ptrdiff_t>(base));
  arguments_.resize(begin_arguments);
  const bool ok = run_instance(instance, base);
  --depth_;
  return ok;
}

bool Runner::run_rules(const std::vector<CompiledRule>& rules) {
  if (++frames_ > base::limits::kMapFramesMax) {
    return fail_limit("more than " + std::to_string(base::limits::kMapFramesMax) +
                          " groups and blocks of rules are in one another",
                      "Is there a loop without end? Otherwise nest the rules of the groups less.");
  }
  const CompiledRule* outer = rule_;
  for (const CompiledRule& rule : rules) {
    rule_ = &rule;
    const std::size_t first_run = rule_runs.size();
    if (!bind_sources(rule, 0)) {
      note_break(rule, first_run);
      return false;
    }
    note_idle(rule, first_run);
  }
  rule_ = outer;
  --frames_;
  return true;
}

// The cartesian product of the sources, the first one outermost.
bool Runner::bind_sources(const CompiledRule& rule, std::size_t index) {
  if (index == rule.sources.size()) {
    return fire(rule);
  }
  const CompiledSource& source = rule.sources[index];
  const std::size_t begin = items_.size();
  if (!collect_source(source, begin)) {
    return false;
  }
  const std::size_t end = items_.size();
  if (!spend(1 + end - begin)) {
    return false;
  }
  bool ok = true;
  for (std::size_t i = begin; ok && i < end; ++i) {
    // A name for the context itself stays a target when the context is one.
    cell(source.slot) = source.steps.empty() && cell(source.context).is_set()
                            ? cell(source.context)
                            : Cell{items_[i], nullptr, nullptr};
    ok = bind_sources(rule, index + 1);
  }
  items_.resize(begin);
  return ok;
}

bool Runner::fire(const CompiledRule& rule) {
  if (++steps_ > base::limits::kMapStepsMax) {
    return fail_limit(
        "more than " + std::to_string(base::limits::kMapStepsMax) + " rules were run for one input",
        "Is there a loop without end? Otherwise send a smaller document.");
  }
  if (with_coverage) {
    fired[rule.label->number] = true;
  }
  const std::size_t run = begin_rule_run(rule);
  const bool ok = rule.simple ? fire_simple(rule, run) : fire_targets(rule, run);
  if (ok) {
    end_rule_run(run);
  }
  return ok;
}

bool Runner::fire_targets(const CompiledRule& rule, std::size_t run) {
  for (const CompiledTarget& target : rule.targets) {
    cell(target.slot) = Cell{};
  }
  for (const CompiledTarget& target : rule.targets) {
    if (!run_target(rule, target)) {
      return false;
    }
  }
  note_made(run);
  for (const CompiledCall& call : rule.calls) {
    if (!run_call(call)) {
      return false;
    }
  }
  return run_rules(rule.rules);
}

bool Runner::run_call(const CompiledCall& call) {
  const std::size_t begin_arguments = arguments_.size();
  for (std::size_t i = 0; i < call.arguments.size(); ++i) {
    const CompiledArgument& argument = call.arguments[i];
    const GroupInput& input = call.instance->group->inputs[i];
    Cell made;
    if (argument.form == ArgumentForm::kSlot && argument.slot < kFirstConstant) {
      made = cell(argument.slot);
    } else {
      const std::size_t begin = scratch_.size();
      if (!collect_argument(argument, scratch_)) {
        return false;
      }
      if (scratch_.size() - begin > 1) {
        return fail(call.place, "the input " + input.name + " of " + call.instance->group->name +
                                    " got several values");
      }
      if (scratch_.size() > begin) {
        made.item = scratch_.back();
      }
      scratch_.resize(begin);
    }
    if (!made.is_set() && !input.is_source) {
      arguments_.resize(begin_arguments);
      return true;  // the target was never made, so there is nothing to fill
    }
    const TypeId wanted = call.instance->types[i];
    const TypeId actual = made.target != nullptr ? made.item.type : item_type(made.item);
    if (made.is_set() && wanted != kNoType && actual != wanted &&
        !may_stand_for(actual, wanted, types_)) {
      return fail(call.place, "the input " + input.name + " of " + call.instance->group->name +
                                  " is a " + std::string(type_name(wanted)) + ", not a " +
                                  std::string(type_name(actual)));
    }
    arguments_.push_back(made);
  }
  return enter(*call.instance, begin_arguments);
}

// The default group for an instance's type and the element: own map first, then imports. nullptr: a
// copy is made.
const Instance* Runner::default_group(TypeId from, const Site& site, Place place, bool& failed) {
  const TypeId wanted = site.member != nullptr ? site.member->type : kNoType;
  const ParsedMap& map = *instance_->map;
  for (const std::vector<DefaultGroup>* groups : {&map.own_defaults, &map.imported_defaults}) {
    const Instance* found = nullptr;
    for (const DefaultGroup& group : *groups) {
      const bool matches = wanted != kNoType && !types_.names_itself(wanted)
                               ? group.target == wanted
                               : group.mode == TypeMode::kTypeAndTypes;
      if (group.source != from || !matches) {
        continue;
      }
      if (found != nullptr) {
        failed = true;
        fail(place, "two default groups answer for " + std::string(type_name(from)) + ": " +
                        found->group->name + " and " + group.instance->group->name);
        return nullptr;
      }
      found = group.instance;
    }
    if (found != nullptr) {
      return found;
    }
  }
  return nullptr;
}

bool Runner::fire_simple(const CompiledRule& rule, std::size_t run) {
  const CompiledTarget& target = rule.targets[0];
  const Cell context = cell(target.context);
  if (!context.is_set()) {
    return true;
  }
  Site site;
  if (!locate(context, target, site)) {
    return false;
  }
  const Cell from = cell(rule.sources[0].slot);
  const TypeId type = from.target != nullptr ? from.item.type : item_type(from.item);
  const Instance* instance = rule.simple_call;
  bool failed = false;
  if (instance == nullptr) {
    instance = default_group(type, site, target.place, failed);
  }
  if (failed) {
    return false;
  }
  Cell made;
  if (instance == nullptr) {
    const bool copied = attach(rule, target, site, {item_of(from), nullptr, kNoType}, made);
    note_made(run);
    return copied;
  }
  const TypeId wanted = instance->types[1];
  if (site.member == nullptr) {
    site.member = member_for(*site.element, wanted, types_);
    if (site.member == nullptr) {
      return fail(target.place, std::string(site.element->stem->text) + " is never a " +
                                    std::string(type_name(wanted)));
    }
  }
  json::Node* node = make_instance(wanted);
  tree_.watch(*node);
  if (!attach(rule, target, site, {{}, node, wanted}, made)) {
    return false;
  }
  note_made(run);
  const std::size_t begin_arguments = arguments_.size();
  arguments_.push_back(from);
  arguments_.push_back(made);
  return enter(*instance, begin_arguments);
}

}  // namespace engine::mapping

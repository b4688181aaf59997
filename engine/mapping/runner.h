#pragma once
// The state and the steps of one run. Its methods are spread over runner.cc (groups and rules),
// run_source.cc (reading), run_target.cc (writing) and run_transform.cc (values). Not thread safe;
// one a thread. Source: FHIR mapping language, order of execution and scope.

#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/mapping/expression.h"
#include "engine/mapping/program.h"
#include "engine/mapping/target_tree.h"

namespace engine::mapping {

// What a slot holds while a rule runs.
struct Cell {
  fhirpath::Item item;           // a source value; for a target only its type is meant
  json::Node* target = nullptr;  // of the output document
  const shapes::Member* member =
      nullptr;  // that the target hangs under; needed for a primitive's companion
  bool is_set() const { return target != nullptr || !item.is_nothing(); }
};

// What a transform made: an item to be copied, or a node that is new in the output document.
struct Made {
  fhirpath::Item item;
  json::Node* fresh = nullptr;
  shapes::TypeId type = shapes::kNoType;  // of fresh
  fhirpath::Item from = {};               // what fresh was made from, for the lineage
};

// Where a target's value goes.
struct Site {
  json::Node* object = nullptr;
  shapes::TypeId type = shapes::kNoType;  // of the object
  const shapes::Element* element = nullptr;
  const shapes::Member* member = nullptr;  // nullptr: the value's type chooses
};

// A shared rule list: the instances that rules with one id share, the n-th with the n-th, under one
// parent.
using ShareKey = std::pair<const json::Node*, std::uint16_t>;  // the parent, and which list
struct Shared {
  std::vector<Cell> made;
  std::vector<std::pair<const CompiledTarget*, std::size_t>> used;  // how many each target took
};

class Runner {
 public:
  Runner(const Program& program, json::Document& output, RunOptions options);

  base::Result<void> call(std::uint32_t group, std::span<const Binding> bindings);
  void finish() { tree_.tidy(); }
  std::size_t rule_count() const { return program_.rules.size(); }

  std::vector<LineageEntry> lineage;
  std::vector<const json::Node*> lineage_inputs;
  std::vector<Untranslated> untranslated;
  std::vector<TraceLine> trace;
  std::vector<bool> fired;  // by CompiledRule::number, when coverage is wanted
  bool with_coverage = false;
  std::vector<RuleRun> rule_runs;  // when they are wanted
  std::vector<RuleRead> rule_reads;
  std::size_t rule_runs_left_out = 0;

 private:
  // runner.cc
  bool bind(const Instance& instance, std::span<const Binding> bindings);
  bool run_instance(const Instance& instance, std::size_t base);
  bool run_rules(const std::vector<CompiledRule>& rules);
  bool bind_sources(const CompiledRule& rule, std::size_t index);
  bool fire(const CompiledRule& rule);
  bool fire_simple(const CompiledRule& rule, std::size_t run);
  bool fire_targets(const CompiledRule& rule, std::size_t run);
  bool run_call(const CompiledCall& call);
  const Instance* default_group(shapes::TypeId from, const Site& site, Place place, bool& failed);
  bool enter(const Instance& instance, std::size_t begin_arguments);
  // Counts work that fires no rule; false past the bound.
  bool spend(std::size_t work) {
    work_ += work;
    return work_ <= base::limits::kMapWorkMax || fail_work();
  }
  bool fail_work();
  Cell& cell(Slot slot) { return cells_[base_ + slot]; }
  fhirpath::Item item_of(const Cell& cell) const;
  bool fail(Place place, std::string message, base::ErrorCode code = base::ErrorCode::kInvalid);
  bool fail_limit(std::string what, std::string_view advice);
  std::string_view type_name(shapes::TypeId type) const;

  // rule_runs.cc: notes for people; each does nothing when they are not wanted
  static constexpr std::size_t kNoRun = static_cast<std::size_t>(-1);
  std::size_t begin_rule_run(const CompiledRule& rule);
  void note_made(std::size_t run);
  void end_rule_run(std::size_t run);
  void note_idle(const CompiledRule& rule, std::size_t first_run);
  void note_break(const CompiledRule& rule, std::size_t first_run);
  RuleRun* add_rule_run(const CompiledRule& rule);

  // run_source.cc
  bool collect_source(const CompiledSource& source, std::size_t begin);
  bool filter(const CompiledSource& source, std::size_t begin);
  bool apply_list_mode(const CompiledSource& source, std::size_t begin);
  bool collect_path(const fhirpath::Item& from, std::span<const SourceStep> steps,
                    std::vector<fhirpath::Item>& out);
  bool step_down(const fhirpath::Item& from, const SourceStep& step,
                 std::vector<fhirpath::Item>& out);
  bool step_by_name(const fhirpath::Item& from, const SourceStep& step,
                    std::vector<fhirpath::Item>& out);
  void step_choice(const json::Node& object, shapes::TypeId type, const json::Name* stem,
                   std::vector<fhirpath::Item>& out) const;
  void step_all(const fhirpath::Item& from, bool descend, std::vector<fhirpath::Item>& out) const;
  void emit(const json::Node* node, const json::Node* companion, shapes::TypeId type,
            std::vector<fhirpath::Item>& out) const;
  base::Result<fhirpath::Items> evaluate(const CompiledExpression& expression,
                                         fhirpath::Items focus);
  bool truth(const CompiledExpression& expression, const fhirpath::Item& focus, bool& result);
  bool collect_argument(const CompiledArgument& argument, std::vector<fhirpath::Item>& out);

  // run_target.cc
  bool run_target(const CompiledRule& rule, const CompiledTarget& target);
  bool value_only(const CompiledTarget& target);
  bool locate(const Cell& context, const CompiledTarget& target, Site& site);
  bool site_of(json::Node& object, shapes::TypeId type, const TargetStep& step, Site& site);
  json::Node* descend(const Site& site);
  bool run_primitive_value(const CompiledRule& rule, const CompiledTarget& target, Cell context);
  bool create_by_type(const CompiledRule& rule, const CompiledTarget& target, const Site& site);
  bool reuse(const CompiledTarget& target, const Site& site, Cell& out);
  Shared& shared(const CompiledTarget& target, const Site& site);
  bool attach(const CompiledRule& rule, const CompiledTarget& target, const Site& site,
              const Made& made, Cell& out);
  bool set_primitive(const CompiledTarget& target, Cell& primitive, const Made& made);
  bool convert(const Made& made, shapes::TypeId wanted, Place place, json::Node*& node,
               json::Node*& companion);
  bool convert_text(std::string_view text, shapes::TypeId wanted, bool check, Place place,
                    json::Node*& node);
  bool already_there(const CompiledTarget& target, const Site& site, const shapes::Member& member,
                     const json::Node& node, json::Node*& known);
  bool count_output(std::size_t elements) {
    output_items_ += elements;
    return output_items_ <= base::limits::kMapOutputItemsMax || fail_output();
  }
  bool fail_output();
  json::Node* copy_of(const json::Node& node);
  void record(const CompiledRule& rule, const CompiledTarget* target, const json::Node* node,
              const fhirpath::Item& value);
  json::Node* make_instance(shapes::TypeId type);

  // run_transform.cc
  bool transform(const CompiledTarget& target, const Site* site, std::vector<Made>& out);
  bool copy(const CompiledTarget& target, std::vector<Made>& out);
  bool make_evaluated(const CompiledTarget& target, std::vector<Made>& out);
  bool collect_texts(const CompiledTarget& target);
  bool make_text(const CompiledTarget& target, std::vector<Made>& out);
  bool make_structure(const CompiledTarget& target, std::vector<Made>& out);
  bool make_quantity(const CompiledTarget& target, json::Node& node);
  bool make_cast(const CompiledTarget& target, std::vector<Made>& out);
  bool make_temporal(const CompiledTarget& target, std::vector<Made>& out);
  bool make_reference(const CompiledTarget& target, std::vector<Made>& out);
  bool make_translation(const CompiledTarget& target, const Site* site, std::vector<Made>& out);
  bool translate_item(const CompiledTarget& target, const Site* site, const fhirpath::Item& item,
                      std::vector<Made>& out);
  bool missing_translation(const CompiledTarget& target, std::string_view system,
                           std::string_view code);
  Made translated(const CompiledTarget& target, const Site* site, const ConceptTarget& to);
  json::Node* make_concept(std::string_view system, std::string_view code,
                           std::string_view display);
  json::Node* make_coding(std::string_view system, std::string_view code, std::string_view display);
  void put(json::Node& object, const json::Name* name, std::string_view text);
  base::Uuid next_uuid();
  fhirpath::Item keep_text(std::string_view text);
  std::optional<std::string_view> text_of(const fhirpath::Item& item);

  const Program& program_;
  const fhirpath::Types& types_;
  const shapes::TypeModel& model_;
  RunOptions options_;
  TargetTree tree_;
  RunWorkspace workspace_;
  std::optional<base::Error> error_;

  std::vector<Cell> cells_;
  std::size_t base_ = 0;
  const Instance* instance_ = nullptr;
  const CompiledRule* rule_ = nullptr;  // the innermost under way
  std::map<ShareKey, Shared>* shares_ = nullptr;
  std::vector<fhirpath::Item> items_;    // stack of what sources found
  std::vector<fhirpath::Item> scratch_;  // of paths and arguments
  std::vector<Made> made_;
  std::vector<Cell> arguments_;  // of calls under way, until the group has them
  // Of the transform under way: the texts of its arguments, nullopt where one is empty.
  std::vector<std::optional<std::string_view>> texts_;
  // Of the expression under way: its variables, and what they hold.
  std::vector<fhirpath::Items> variables_;
  std::vector<fhirpath::Item> variable_items_;
  std::vector<const json::Node*> roots_;  // bound targets
  std::unordered_map<const json::Node*, std::string> assigned_ids_;
  std::uint64_t uuid_count_ = 0;
  std::size_t depth_ = 0;
  std::size_t frames_ = 0;
  std::size_t steps_ = 0;
  std::size_t work_ = 0;
  std::size_t output_items_ = 0;
  std::size_t untranslated_noted_ = 0;
  bool break_noted_ = false;
  shapes::TypeId string_type_, integer_type_, decimal_type_, boolean_type_, date_type_,
      date_time_type_, time_type_, quantity_type_, coding_type_, concept_type_, identifier_type_,
      contact_point_type_;

  shapes::TypeId item_type(const fhirpath::Item& item) const;
};

}  // namespace engine::mapping

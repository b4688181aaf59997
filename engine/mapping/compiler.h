#pragma once
// Turns parsed maps into a Program: looks up names, types, groups and tables, and reports
// everything that is wrong before anything runs. Its methods are spread over compile_maps.cc (what
// maps say about themselves), compile_groups.cc (groups and rules), compile_source.cc,
// compile_target.cc and compile_transform.cc. Used once, by MapSet::load.

#include <deque>
#include <map>
#include <string>
#include <tuple>
#include <unordered_map>
#include <vector>

#include "engine/mapping/expression.h"
#include "engine/mapping/program.h"
#include "engine/mapping/scope.h"
#include "engine/mapping/typing.h"

namespace engine::mapping {

// A group with the map that it stands in.
struct FoundGroup {
  ParsedMap* map = nullptr;
  const Group* group = nullptr;
};

// What a path of steps leads to.
struct StaticType {
  shapes::TypeId type = shapes::kNoType;
  bool ok = true;
};

class Compiler {
 public:
  Compiler(Program& program, std::vector<base::Error>& problems);

  // program.maps and program.tables are filled; everything else is made here.
  void run();

 private:
  void compile_waiting();
  // compile_maps.cc
  void resolve_uses(ParsedMap& map);
  void resolve_imports(ParsedMap& map);
  void evaluate_constants(ParsedMap& map);
  void check_groups(ParsedMap& map);
  void collect_defaults(ParsedMap& map);
  void describe(ParsedMap& map);
  void number_rules(const ParsedMap& map, const Group& group, const std::vector<Rule>& rules);
  shapes::TypeId type_named(const ParsedMap& map, const std::string& name) const;
  shapes::TypeId declared_type(const ParsedMap& map, const std::string& name, Place place);

  // compile_groups.cc
  void give_up(Place place, std::string message);
  FoundGroup find_group(ParsedMap& map, const std::string& name, Place place);
  Instance* instance(const FoundGroup& found, std::vector<shapes::TypeId> types, Place place);
  void compile_instance(Instance& instance);
  const Instance* compile_base(Instance& instance);
  std::vector<CompiledRule> compile_rules(const std::vector<Rule>& rules, Scope& scope);
  void compile_rule(const Rule& rule, Scope& scope, CompiledRule& out);
  void compile_simple(const Rule& rule, const Scope& scope, CompiledRule& out);
  void compile_call(const Dependent& dependent, const Scope& scope, CompiledRule& out);
  shapes::TypeId type_of(const Argument& argument, const Scope& scope) const;

  // compile_source.cc
  void compile_source(const Source& source, Scope& scope, CompiledSource& out);
  StaticType compile_path(const Path& path, const Scope& scope, Slot& slot,
                          std::vector<SourceStep>& steps);
  bool compile_step(shapes::TypeId& type, const std::string& name, Place place, SourceStep& step);
  bool compile_argument(const Argument& argument, const Scope& scope, CompiledArgument& out);
  fhirpath::Item literal_item(const Literal& literal);
  std::unique_ptr<CompiledExpression> compile_fhirpath(const Expression& expression,
                                                       const Scope& scope, shapes::TypeId focus,
                                                       bool has_focus);
  std::string unknown_element(shapes::TypeId type, std::string_view name) const;
  const Variable* variable(const Scope& scope, const std::string& name, Place place);

  // compile_target.cc and compile_transform.cc
  void compile_target(const Target& target, Scope& scope, CompiledTarget& out);
  shapes::TypeId compile_target_path(const Path& path, const Scope& scope, CompiledTarget& out,
                                     bool& ok);
  bool compile_target_step(shapes::TypeId& type, const std::string& name, Place place,
                           TargetStep& step);
  void compile_transform(const Target& target, const Scope& scope, CompiledTarget& out,
                         shapes::TypeId& made);
  shapes::TypeId copied_type(const Argument& argument, const Scope& scope) const;
  shapes::TypeId type_of_name(const Argument& argument);
  shapes::TypeId compile_cast(const Transform& transform, CompiledTarget& out);
  void compile_create(const Transform& transform, const Scope& scope, CompiledTarget& out,
                      shapes::TypeId& made);
  void compile_evaluate(const Transform& transform, const Scope& scope, CompiledTarget& out);
  void compile_translate(const Transform& transform, const Scope& scope, CompiledTarget& out);
  const ConceptMap* find_table(const std::string& uri, Place place);
  void check_created_by_type(const Target& target, CompiledTarget& out, shapes::TypeId& made);
  void check_value_type(CompiledTarget& out, shapes::TypeId value, Place place);

  void fail(Place place, std::string message, base::ErrorCode code = base::ErrorCode::kInvalid);
  const char* keep(std::string text);
  std::string_view type_name(shapes::TypeId type) const;
  const shapes::TypeModel& model() const { return program_.types.model(); }

  Program& program_;
  std::vector<base::Error>& problems_;
  ElementVocabulary vocabulary_;
  std::map<std::tuple<const ParsedMap*, const Group*, std::vector<shapes::TypeId>>, Instance*>
      known_;
  std::deque<Instance*> waiting_;
  std::vector<std::pair<std::uint32_t, FoundGroup>> open_groups_;
  std::unordered_map<const Rule*, std::uint32_t> numbers_;
  std::size_t compiled_rules_ = 0;
  bool gave_up_ = false;
  // Of the instance that is being compiled.
  ParsedMap* map_ = nullptr;
  const Group* group_ = nullptr;
  std::vector<std::string> shares_;
};

}  // namespace engine::mapping

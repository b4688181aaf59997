#pragma once
// The syntax tree of one map, the same whether it came from mapping language text or from
// StructureMap JSON. Plain data; nothing here has been looked up or type-checked yet. Source: FHIR
// R4 StructureMap and the mapping language grammar (R4, R5 and the continuous build).

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace engine::mapping {

// Line and column from 1, columns in Unicode scalar values; 0:0 when the map came from JSON.
struct Place {
  std::uint32_t line = 0;
  std::uint32_t column = 0;
};

// FHIRPath as written, not yet parsed. Double-quoted strings of older maps have become
// single-quoted ones.
struct Expression {
  std::string text;
  Place place;
};

enum class LiteralKind : std::uint8_t { kString, kInteger, kDecimal, kBoolean };
struct Literal {
  LiteralKind kind = LiteralKind::kString;
  std::string text;  // unescaped for strings; as written for numbers; "true" or "false"
};

// A variable and the elements below it: src.item.answer.
struct Path {
  std::string context;
  std::vector<std::string> elements;  // may hold "*" and "**"
  std::vector<Place> element_places;
  Place place;
};

enum class ArgumentKind : std::uint8_t { kLiteral, kPath, kExpression };
struct Argument {
  ArgumentKind kind = ArgumentKind::kLiteral;
  Literal literal;
  Path path;
  Expression expression;
  Place place;
};

// A transform with its name as in the code system map-transform. `= 'x'`, `= v` and `= (expr)`
// arrive as copy and evaluate.
struct Transform {
  std::string name;
  std::vector<Argument> arguments;
  Place place;
};

enum class SourceListMode : std::uint8_t { kNone, kFirst, kNotFirst, kLast, kNotLast, kOnlyOne };

struct Source {
  Path path;
  std::string type;
  std::optional<std::uint32_t> min;
  std::optional<std::uint32_t> max;  // absent for "*" too
  bool has_cardinality = false;
  std::optional<Argument> default_value;  // a literal or an expression
  SourceListMode list_mode = SourceListMode::kNone;
  std::string variable;
  std::optional<Expression> where;
  std::optional<Expression> check;
  std::optional<Expression> log;
  Place place;
};

struct TargetListModes {
  bool first = false;
  bool last = false;
  bool collate = false;
  bool single = false;
  std::string share;  // the id of the rule list; empty when not shared
  bool any() const { return first || last || collate || single || !share.empty(); }
};

struct Target {
  std::optional<Path> path;  // absent for a target that is only a call or an expression
  std::optional<Transform> transform;
  std::string variable;
  TargetListModes list;
  Place place;
};

struct Dependent {
  std::string group;
  std::vector<Argument> arguments;
  Place place;
};

struct Rule {
  std::string name;  // empty until names are given (name_rules)
  std::vector<Source> sources;
  std::vector<Target> targets;
  std::vector<Dependent> dependents;
  std::vector<Rule> rules;
  Place place;
};

enum class TypeMode : std::uint8_t { kNone, kTypes, kTypeAndTypes };

struct GroupInput {
  std::string name;
  std::string type;
  bool is_source = true;
  Place place;
};

struct Group {
  std::string name;
  std::vector<GroupInput> inputs;
  std::string extends;
  TypeMode type_mode = TypeMode::kNone;
  std::vector<Rule> rules;
  Place place;
  Place extends_place;
};

enum class UseMode : std::uint8_t { kSource, kQueried, kTarget, kProduced };
struct Use {
  std::string url;
  std::string alias;
  UseMode mode = UseMode::kSource;
  Place place;
};

struct Import {
  std::string url;  // may hold one "*"
  Place place;
};

struct Constant {
  std::string name;
  Expression value;
  Place place;
};

struct EmbeddedConcept {
  std::string source_system;  // the url behind the prefix
  std::string source_code;
  std::string target_system;
  std::string target_code;
  std::string equivalence;  // R4 concept-map-equivalence
};

struct EmbeddedConceptMap {
  std::string id;  // without "#"
  std::vector<EmbeddedConcept> concepts;
  // "unmapped for s = provided": source systems whose unmatched codes pass as they are, each once.
  std::vector<std::string> provided_systems;
  void provide(std::string system);
  Place place;
};

struct Metadata {
  std::string path;
  std::string value;
};

struct Map {
  std::string file;
  std::string url;
  std::string name;
  std::string title;
  std::string status;  // empty means draft
  std::string description;
  std::vector<Metadata> metadata;  // lines that have no field of their own here
  std::vector<EmbeddedConceptMap> concept_maps;
  std::vector<Use> uses;
  std::vector<Import> imports;
  std::vector<Constant> constants;
  std::vector<Group> groups;
};

// "file:line:column" or "file" for a place that is not known.
std::string place_text(const std::string& file, Place place);

// Gives every unnamed rule a name: the source element (with the type filter), then "ruleN"; names
// of one group are made unique with a number. Source: FHIR mapping language, automatic rule names.
void name_rules(Map& map);

}  // namespace engine::mapping

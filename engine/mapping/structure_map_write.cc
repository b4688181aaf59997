// Syntax tree to StructureMap JSON.

#include <array>
#include <utility>

#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/mapping/structure_map.h"

namespace engine::mapping {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using json::Node;

constexpr std::array<std::string_view, 6> kSourceModeNames = {"",     "first",    "not_first",
                                                              "last", "not_last", "only_one"};
constexpr std::array<std::string_view, 3> kTypeModeNames = {"none", "types", "type-and-types"};
constexpr std::array<std::string_view, 4> kUseModeNames = {"source", "queried", "target",
                                                           "produced"};

class Writer {
 public:
  explicit Writer(const Map& map) : map_(map), document_(names_) {}

  Result<std::string> write() {
    if (!map_.constants.empty()) {
      return Error(ErrorCode::kUnsupported, "StructureMap R4 has no constants",
                   place_text(map_.file, map_.constants[0].place));
    }
    Node* resource = document_.make_object();
    put(resource, "resourceType", "StructureMap");
    Node* contained = list(resource, "contained", !map_.concept_maps.empty());
    for (const EmbeddedConceptMap& table : map_.concept_maps) {
      json::Document::append(contained, concept_map(table));
    }
    put(resource, "url", map_.url);
    put(resource, "name", map_.name.empty() ? map_.url : map_.name);
    put(resource, "title", map_.title);
    put(resource, "status", map_.status.empty() ? "draft" : map_.status);
    put(resource, "description", map_.description);
    Node* structures = list(resource, "structure", !map_.uses.empty());
    for (const Use& use : map_.uses) {
      Node* node = add(structures);
      put(node, "url", use.url);
      put(node, "mode", kUseModeNames[static_cast<std::size_t>(use.mode)]);
      put(node, "alias", use.alias);
    }
    Node* imports = list(resource, "import", !map_.imports.empty());
    for (const Import& import : map_.imports) {
      json::Document::append(imports, document_.make_string(import.url));
    }
    Node* groups = list(resource, "group", true);
    for (const Group& group : map_.groups) {
      write_group(group, add(groups));
    }
    if (error_) {
      return *std::move(error_);
    }
    return json::to_text(*resource);
  }

 private:
  void fail(Place place, std::string message) {
    if (!error_) {
      error_ = Error(ErrorCode::kUnsupported, std::move(message), place_text(map_.file, place));
    }
  }

  void put(Node* object, std::string_view member, std::string_view text) {
    if (!text.empty()) {
      document_.append(object, member, document_.make_string(text));
    }
  }
  Node* list(Node* object, std::string_view member, bool wanted) {
    if (!wanted) {
      return nullptr;
    }
    Node* array = document_.make_array();
    document_.append(object, member, array);
    return array;
  }
  Node* add(Node* array) {
    Node* object = document_.make_object();
    json::Document::append(array, object);
    return object;
  }

  Node* concept_map(const EmbeddedConceptMap& table) {
    Node* node = document_.make_object();
    put(node, "resourceType", "ConceptMap");
    put(node, "id", table.id);
    put(node, "status", "draft");
    Node* groups = list(node, "group", true);
    std::string source;
    std::string target;
    Node* elements = nullptr;
    for (const EmbeddedConcept& row : table.concepts) {
      if (elements == nullptr || row.source_system != source || row.target_system != target) {
        source = row.source_system;
        target = row.target_system;
        Node* group = add(groups);
        put(group, "source", source);
        put(group, "target", target);
        elements = list(group, "element", true);
        for (const std::string& provided : table.provided_systems) {
          if (provided == source) {
            Node* unmapped = document_.make_object();
            put(unmapped, "mode", "provided");
            document_.append(group, "unmapped", unmapped);
          }
        }
      }
      Node* element = add(elements);
      put(element, "code", row.source_code);
      Node* to = add(list(element, "target", true));
      put(to, "code", row.target_code);
      put(to, "equivalence", row.equivalence);
    }
    return node;
  }

  void write_group(const Group& group, Node* node) {
    put(node, "name", group.name);
    put(node, "extends", group.extends);
    put(node, "typeMode", kTypeModeNames[static_cast<std::size_t>(group.type_mode)]);
    Node* inputs = list(node, "input", true);
    for (const GroupInput& input : group.inputs) {
      Node* one = add(inputs);
      put(one, "name", input.name);
      put(one, "type", input.type);
      put(one, "mode", input.is_source ? "source" : "target");
    }
    Node* rules = list(node, "rule", true);
    for (const Rule& rule : group.rules) {
      write_rule(rule, add(rules));
    }
  }

  void write_rule(const Rule& rule, Node* node) {
    put(node, "name", rule.name);
    Node* sources = list(node, "source", true);
    for (const Source& source : rule.sources) {
      write_source(source, sources);
    }
    Node* targets = document_.make_array();
    for (const Target& target : rule.targets) {
      write_target(target, targets);
    }
    Node* calls = document_.make_array();
    for (const Dependent& call : rule.dependents) {
      Node* one = add(calls);
      put(one, "name", call.group);
      Node* variables = list(one, "variable", true);
      for (const Argument& argument : call.arguments) {
        json::Document::append(variables, document_.make_string(variable_of(argument, targets)));
      }
    }
    if (targets->count > 0) {
      document_.append(node, "target", targets);
    }
    Node* rules = list(node, "rule", !rule.rules.empty());
    for (const Rule& inner : rule.rules) {
      write_rule(inner, add(rules));
    }
    if (calls->count > 0) {
      document_.append(node, "dependent", calls);
    }
  }

  std::string new_variable() { return "v__" + std::to_string(++variables_); }

  // The name of a variable that holds the argument; what is computed is bound in a target of its
  // own.
  std::string variable_of(const Argument& argument, Node* targets) {
    if (argument.kind == ArgumentKind::kPath && argument.path.elements.empty()) {
      return argument.path.context;
    }
    const std::string name = new_variable();
    Node* target = add(targets);
    put(target, "variable", name);
    const bool literal = argument.kind == ArgumentKind::kLiteral;
    put(target, "transform", literal ? "copy" : "evaluate");
    Node* parameters = list(target, "parameter", true);
    if (literal) {
      write_literal(argument.literal, add(parameters));
    } else {
      put(add(parameters), "valueString", expression_text(argument));
    }
    return name;
  }

  static std::string expression_text(const Argument& argument) {
    if (argument.kind == ArgumentKind::kExpression) {
      return argument.expression.text;
    }
    std::string text = "%" + argument.path.context;
    for (const std::string& element : argument.path.elements) {
      text += "." + element;
    }
    return text;
  }

  void write_literal(const Literal& literal, Node* parameter) {
    switch (literal.kind) {
      case LiteralKind::kBoolean:
        document_.append(parameter, "valueBoolean", document_.make_boolean(literal.text == "true"));
        break;
      case LiteralKind::kInteger:
        document_.append(parameter, "valueInteger", document_.make_number(literal.text));
        break;
      case LiteralKind::kDecimal:
        document_.append(parameter, "valueDecimal", document_.make_number(literal.text));
        break;
      case LiteralKind::kString:
        document_.append(parameter, "valueString", document_.make_string(literal.text));
    }
  }

  void write_source(const Source& source, Node* sources) {
    std::string context = source.path.context;
    const std::size_t count = source.path.elements.size();
    const bool counted = source.has_cardinality || source.default_value.has_value() ||
                         source.list_mode != SourceListMode::kNone;
    if (count > 1 && counted) {
      fail(source.place,
           "StructureMap cannot say a list mode, a default or a number of items on a "
           "path of several steps: name the steps in rules of their own");
    }
    for (std::size_t i = 0; i + 1 < count; ++i) {
      Node* step = add(sources);
      put(step, "context", context);
      put(step, "element", source.path.elements[i]);
      context = new_variable();
      put(step, "variable", context);
    }
    Node* node = add(sources);
    put(node, "context", context);
    if (source.has_cardinality) {
      document_.append(node, "min", document_.make_number(std::to_string(source.min.value_or(0))));
      put(node, "max", source.max ? std::to_string(*source.max) : "*");
    }
    put(node, "type", source.type);
    if (source.default_value) {
      write_default(*source.default_value, node);
    }
    if (count > 0) {
      put(node, "element", source.path.elements.back());
    }
    put(node, "listMode", kSourceModeNames[static_cast<std::size_t>(source.list_mode)]);
    put(node, "variable", source.variable);
    put(node, "condition", source.where ? source.where->text : std::string());
    put(node, "check", source.check ? source.check->text : std::string());
    put(node, "logMessage", source.log ? source.log->text : std::string());
  }

  void write_default(const Argument& value, Node* node) {
    if (value.kind != ArgumentKind::kLiteral) {
      fail(value.place, "StructureMap cannot say a computed default");
      return;
    }
    Node* holder = document_.make_object();
    write_literal(value.literal, holder);
    const Node* literal = holder->first;
    document_.append(node, "defaultValue" + std::string(literal->name_text().substr(5)),
                     document_.copy(*literal));
  }

  void write_target(const Target& target, Node* targets) {
    std::string context = target.path ? target.path->context : std::string();
    const std::size_t count = target.path ? target.path->elements.size() : 0;
    for (std::size_t i = 0; i + 1 < count; ++i) {
      Node* step = add(targets);
      put(step, "context", context);
      put(step, "contextType", "variable");
      put(step, "element", target.path->elements[i]);
      context = new_variable();
      put(step, "variable", context);
    }
    std::vector<std::string> lifted;
    if (target.transform && target.transform->name != "evaluate") {
      for (const Argument& argument : target.transform->arguments) {
        const bool plain = argument.kind == ArgumentKind::kLiteral ||
                           (argument.kind == ArgumentKind::kPath && argument.path.elements.empty());
        lifted.push_back(plain ? std::string() : variable_of(argument, targets));
      }
    }
    Node* node = add(targets);
    put(node, "context", context);
    put(node, "contextType", target.path ? "variable" : "");
    if (count > 0) {
      put(node, "element", target.path->elements.back());
    }
    put(node, "variable", target.variable);
    write_list_modes(target.list, node);
    if (target.transform) {
      write_transform(*target.transform, lifted, node);
    }
  }

  void write_list_modes(const TargetListModes& modes, Node* node) {
    if (!modes.any()) {
      return;
    }
    Node* names = list(node, "listMode", true);
    for (const auto& [given, name] :
         {std::pair{modes.first, "first"}, std::pair{modes.last, "last"},
          // R4 has no code for `single`; collate is its name there.
          std::pair{modes.collate || modes.single, "collate"},
          std::pair{!modes.share.empty(), "share"}}) {
      if (given) {
        json::Document::append(names, document_.make_string(name));
      }
    }
    put(node, "listRuleId", modes.share);
  }

  void write_transform(const Transform& transform, const std::vector<std::string>& lifted,
                       Node* node) {
    put(node, "transform", transform.name);
    Node* parameters = list(node, "parameter", !transform.arguments.empty());
    for (std::size_t i = 0; i < transform.arguments.size(); ++i) {
      const Argument& argument = transform.arguments[i];
      Node* parameter = add(parameters);
      if (i < lifted.size() && !lifted[i].empty()) {
        put(parameter, "valueId", lifted[i]);
      } else if (argument.kind == ArgumentKind::kLiteral) {
        write_literal(argument.literal, parameter);
      } else if (argument.kind == ArgumentKind::kPath && argument.path.elements.empty()) {
        put(parameter, "valueId", argument.path.context);
      } else {
        put(parameter, "valueString", expression_text(argument));
      }
    }
  }

  const Map& map_;
  json::NameTable names_;
  json::Document document_;
  std::optional<Error> error_;
  std::size_t variables_ = 0;
};

}  // namespace

Result<std::string> write_structure_map(const Map& map) {
  return Writer(map).write();
}

}  // namespace engine::mapping

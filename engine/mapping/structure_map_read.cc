// StructureMap JSON to syntax tree.

#include <array>
#include <charconv>
#include <utility>

#include "engine/base/limits.h"
#include "engine/json/write.h"
#include "engine/mapping/structure_map.h"

namespace engine::mapping {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using json::Node;

constexpr std::array<std::pair<std::string_view, SourceListMode>, 5> kSourceModes = {{
    {"first", SourceListMode::kFirst},
    {"not_first", SourceListMode::kNotFirst},
    {"last", SourceListMode::kLast},
    {"not_last", SourceListMode::kNotLast},
    {"only_one", SourceListMode::kOnlyOne},
}};

class Reader {
 public:
  explicit Reader(const std::string& file) { map_.file = file; }

  Result<Map> read(const Node& resource) {
    map_.url = resource.string_at("url");
    map_.name = resource.string_at("name");
    map_.title = resource.string_at("title");
    map_.status = resource.string_at("status");
    map_.description = resource.string_at("description");
    each(resource, "structure", [this](const Node& node) { use(node); });
    each(resource, "contained", [this](const Node& node) { contained(node); });
    if (const Node* imports = resource.find("import"); imports != nullptr && imports->is_array()) {
      for (const Node& import : *imports) {
        map_.imports.push_back({std::string(import.text()), {}});
      }
    }
    each(resource, "group", [this](const Node& node) { map_.groups.push_back(group(node)); });
    if (map_.url.empty()) {
      fail(resource, "the map has no url");
    }
    if (map_.groups.empty()) {
      fail(resource, "the map has no group");
    }
    if (error_) {
      return *std::move(error_);
    }
    name_rules(map_);
    return std::move(map_);
  }

 private:
  void fail(const Node& at, std::string message, ErrorCode code = ErrorCode::kInvalid) {
    if (!error_) {
      error_ = Error(code, std::move(message), map_.file + " " + json::pointer_of(at));
    }
  }

  template <class Do>
  void each(const Node& object, std::string_view member, Do what) {
    const Node* list = object.find(member);
    if (list == nullptr) {
      return;
    }
    if (!list->is_array()) {
      fail(*list, std::string(member) + " is a list");
      return;
    }
    for (const Node& item : *list) {
      if (!item.is_object()) {
        fail(item, "an object is expected here");
        return;
      }
      what(item);
    }
  }

  std::string needed(const Node& object, std::string_view member) {
    std::string text(object.string_at(member));
    if (text.empty()) {
      fail(object, std::string(member) + " is missing");
    }
    return text;
  }

  void use(const Node& node) {
    Use use;
    use.url = needed(node, "url");
    use.alias = node.string_at("alias");
    const std::string_view mode = node.string_at("mode");
    if (mode == "target") {
      use.mode = UseMode::kTarget;
    } else if (mode == "produced") {
      use.mode = UseMode::kProduced;
    } else if (mode == "queried") {
      use.mode = UseMode::kQueried;
    } else if (mode != "source") {
      fail(node, "mode is source, queried, target or produced");
    }
    map_.uses.push_back(std::move(use));
  }

  void contained(const Node& node) {
    if (node.string_at("resourceType") != "ConceptMap") {
      return;
    }
    EmbeddedConceptMap table;
    table.id = needed(node, "id");
    each(node, "group", [&](const Node& group) {
      const std::string source(group.string_at("source"));
      const std::string target(group.string_at("target"));
      const Node* unmapped = group.find("unmapped");
      if (unmapped != nullptr && unmapped->string_at("mode") == "provided") {
        table.provide(source);
      }
      each(group, "element", [&](const Node& element) {
        each(element, "target", [&](const Node& to) {
          table.concepts.push_back({source, std::string(element.string_at("code")), target,
                                    std::string(to.string_at("code")),
                                    std::string(to.string_at("equivalence"))});
        });
      });
    });
    map_.concept_maps.push_back(std::move(table));
  }

  Group group(const Node& node) {
    Group group;
    group.name = needed(node, "name");
    group.extends = node.string_at("extends");
    const std::string_view mode = node.string_at("typeMode");
    if (mode == "types") {
      group.type_mode = TypeMode::kTypes;
    } else if (mode == "type-and-types") {
      group.type_mode = TypeMode::kTypeAndTypes;
    }
    each(node, "input", [&](const Node& input) {
      group.inputs.push_back({needed(input, "name"),
                              std::string(input.string_at("type")),
                              input.string_at("mode") != "target",
                              {}});
    });
    each(node, "rule", [&](const Node& rule) { group.rules.push_back(this->rule(rule)); });
    return group;
  }

  Rule rule(const Node& node) {
    Rule rule;
    if (++depth_ > base::limits::kMapNestingMax) {
      fail(node, "rules are nested too deeply", ErrorCode::kLimit);
      return rule;
    }
    rule.name = node.string_at("name");
    each(node, "source", [&](const Node& source) { rule.sources.push_back(this->source(source)); });
    each(node, "target", [&](const Node& target) { rule.targets.push_back(this->target(target)); });
    each(node, "dependent", [&](const Node& call) { rule.dependents.push_back(dependent(call)); });
    each(node, "rule", [&](const Node& inner) { rule.rules.push_back(this->rule(inner)); });
    if (rule.sources.empty()) {
      fail(node, "a rule has at least one source");
    }
    --depth_;
    return rule;
  }

  static std::optional<Expression> expression(const Node& object, std::string_view member) {
    const Node* text = object.find(member);
    if (text == nullptr || !text->is_string()) {
      return std::nullopt;
    }
    return Expression{std::string(text->text()), {}};
  }

  static void read_element(const Node& object, Path& path) {
    if (!object.string_at("element").empty()) {
      path.elements.emplace_back(object.string_at("element"));
      path.element_places.emplace_back();
    }
  }

  Source source(const Node& node) {
    Source source;
    source.path.context = needed(node, "context");
    read_element(node, source.path);
    source.type = node.string_at("type");
    source.variable = node.string_at("variable");
    source.where = expression(node, "condition");
    source.check = expression(node, "check");
    source.log = expression(node, "logMessage");
    const Node* min = node.find("min");
    const std::string_view max = node.string_at("max");
    if (min != nullptr || !max.empty()) {
      source.has_cardinality = true;
      source.min = min != nullptr ? number(*min, min->text()) : 0;
      if (!max.empty() && max != "*") {
        source.max = number(*node.find("max"), max);
      }
    }
    for (const auto& [name, mode] : kSourceModes) {
      if (node.string_at("listMode") == name) {
        source.list_mode = mode;
      }
    }
    for (const Node& member : node) {
      if (member.name_text().substr(0, 12) == "defaultValue") {
        source.default_value = value(member);
      }
    }
    return source;
  }

  std::uint32_t number(const Node& at, std::string_view text) {
    std::uint32_t value = 0;
    const auto parsed = std::from_chars(text.data(), text.data() + text.size(), value);
    if (parsed.ec != std::errc() || parsed.ptr != text.data() + text.size()) {
      fail(at, "a number of items is expected here");
    }
    return value;
  }

  Argument value(const Node& node) {
    Argument argument;
    argument.literal.text = node.text();
    if (node.is_boolean()) {
      argument.literal = {LiteralKind::kBoolean, node.boolean ? "true" : "false"};
    } else if (node.is_number()) {
      const bool whole = node.text().find_first_of(".eE") == std::string_view::npos;
      argument.literal.kind = whole ? LiteralKind::kInteger : LiteralKind::kDecimal;
    } else if (!node.is_string()) {
      fail(node, "a single value is expected here", ErrorCode::kUnsupported);
    }
    return argument;
  }

  // valueId names a variable; every other value[x] is a literal.
  Argument parameter(const Node& node) {
    for (const Node& member : node) {
      if (member.name_text() == "valueId") {
        Argument argument;
        argument.kind = ArgumentKind::kPath;
        argument.path.context = member.text();
        return argument;
      }
      if (member.name_text().substr(0, 5) == "value") {
        return value(member);
      }
    }
    fail(node, "the parameter has no value");
    return {};
  }

  Target target(const Node& node) {
    Target target;
    if (!node.string_at("context").empty()) {
      target.path.emplace();
      target.path->context = node.string_at("context");
      read_element(node, *target.path);
    }
    target.variable = node.string_at("variable");
    const Node* modes = node.find("listMode");
    if (modes != nullptr && modes->is_array()) {
      for (const Node& mode : *modes) {
        target.list.first |= mode.text() == "first";
        target.list.last |= mode.text() == "last";
        target.list.collate |= mode.text() == "collate";
        target.list.single |= mode.text() == "single";
        if (mode.text() == "share") {
          target.list.share = needed(node, "listRuleId");
        }
      }
    }
    if (!node.string_at("transform").empty()) {
      Transform transform;
      transform.name = node.string_at("transform");
      each(node, "parameter",
           [&](const Node& given) { transform.arguments.push_back(parameter(given)); });
      target.transform = std::move(transform);
    }
    return target;
  }

  Dependent dependent(const Node& node) {
    Dependent call;
    call.group = needed(node, "name");
    const Node* names = node.find("variable");
    if (names != nullptr && names->is_array()) {
      for (const Node& name : *names) {
        Argument argument;
        argument.kind = ArgumentKind::kPath;
        argument.path.context = name.text();
        call.arguments.push_back(std::move(argument));
      }
    }
    each(node, "parameter", [&](const Node& given) { call.arguments.push_back(parameter(given)); });
    return call;
  }

  Map map_;
  std::optional<Error> error_;
  std::size_t depth_ = 0;
};

}  // namespace

Result<Map> read_structure_map(const Node& resource, const std::string& file) {
  return Reader(file).read(resource);
}

}  // namespace engine::mapping

#include "engine/mapping/lint.h"

#include <algorithm>
#include <set>
#include <utility>

#include "engine/mapping/lexer.h"
#include "engine/mapping/program.h"

namespace engine::mapping {
namespace {

using shapes::kNoType;
using shapes::TypeId;
using shapes::TypeKind;

void collect_calls(const std::vector<CompiledRule>& rules, std::set<const Group*>& called) {
  for (const CompiledRule& rule : rules) {
    for (const CompiledCall& call : rule.calls) {
      called.insert(call.instance->group);
    }
    if (rule.simple_call != nullptr) {
      called.insert(rule.simple_call->group);
    }
    collect_calls(rule.rules, called);
  }
}

// A condition made of literals only says the same about every item.
bool is_literal_only(std::string_view text) {
  Lexer lexer(text);
  while (true) {
    base::Result<Token> token = lexer.next();
    if (!token) {
      return false;
    }
    if (token->kind == TokenKind::kEnd) {
      return true;
    }
    const bool word = token->kind == TokenKind::kName || token->kind == TokenKind::kQuotedName;
    static constexpr std::string_view kWords = " true false and or xor implies not ";
    if (token->is("$") || token->is("%") ||
        (word && kWords.find(" " + token->text + " ") == std::string_view::npos)) {
      return false;
    }
  }
}

class Linter {
 public:
  Linter(const Program& program, const LintOptions& options)
      : program_(program), options_(options) {}

  std::vector<LintFinding> run() {
    unused_groups();
    for (const ParsedMap& map : program_.maps) {
      for (const Group& group : map.map.groups) {
        rules(map, group.rules);
      }
    }
    unread_fields();
    return std::move(findings_);
  }

 private:
  void add(const ParsedMap& map, Place place, std::string kind, std::string text) {
    findings_.push_back({place_text(map.map.file, place), std::move(kind), std::move(text)});
  }

  void unused_groups() {
    std::set<const Group*> called;
    for (const Instance& instance : program_.instances) {
      collect_calls(instance.rules, called);
      if (instance.base != nullptr) {
        called.insert(instance.base->group);
      }
    }
    for (const ParsedMap& map : program_.maps) {
      bool first = true;
      for (const Group& group : map.map.groups) {
        if (!first && group.type_mode == TypeMode::kNone && called.count(&group) == 0 &&
            !is_called(map, group)) {
          add(map, group.place, "unused-group", "nothing calls the group " + group.name);
        }
        first = false;
      }
    }
  }

  bool is_called(const ParsedMap& map, const Group& group) const {
    const std::string_view url = map.map.url;
    const std::string name = std::string(url.substr(url.rfind('/') + 1)) + "#" + group.name;
    return std::find(options_.called.begin(), options_.called.end(), name) != options_.called.end();
  }

  void rules(const ParsedMap& map, const std::vector<Rule>& list) {
    for (const Rule& rule : list) {
      bool says = false;
      for (const Source& source : rule.sources) {
        says = says || source.check || source.log || source.has_cardinality ||
               source.list_mode == SourceListMode::kOnlyOne;
        if (source.where && is_literal_only(source.where->text)) {
          add(map, source.where->place, "dead-condition",
              "the condition " + source.where->text + " says the same about every item");
        }
      }
      if (rule.targets.empty() && rule.dependents.empty() && rule.rules.empty() && !says) {
        add(map, rule.place, "idle-rule", "the rule " + rule.name + " makes and checks nothing");
      }
      rules(map, rule.rules);
    }
  }

  bool is_read(TypeId type, const json::Name* stem) const {
    return program_.elements_read.count({type, stem}) != 0 ||
           program_.names_read.find(stem->text) != program_.names_read.end();
  }

  // Fields of logical models that maps use as their source, nested ones included. A datatype counts
  // as one field.
  void unread_fields() {
    std::set<TypeId> models;
    for (const ParsedMap& map : program_.maps) {
      for (const Use& use : map.map.uses) {
        const bool source = use.mode == UseMode::kSource || use.mode == UseMode::kQueried;
        const auto at = map.aliases.find(use.alias);
        if (source && at != map.aliases.end() &&
            program_.types.model().info(at->second).kind == TypeKind::kLogical) {
          models.insert(at->second);
        }
      }
    }
    for (const TypeId model : models) {
      std::set<TypeId> seen;
      fields(model, std::string(program_.types.model().info(model).name), seen);
    }
  }

  void fields(TypeId type, const std::string& path, std::set<TypeId>& seen) {
    if (!seen.insert(type).second) {
      return;
    }
    static constexpr std::string_view kEveryElement = " id extension modifierExtension ";
    for (const shapes::Element& element : program_.types.model().info(type).elements) {
      const std::string_view stem = element.stem->text;
      if (kEveryElement.find(" " + std::string(stem) + " ") != std::string_view::npos) {
        continue;
      }
      const std::string field = path + "." + std::string(stem);
      if (std::find(options_.read.begin(), options_.read.end(), field) != options_.read.end()) {
        continue;
      }
      const bool asked = field.compare(0, options_.below.size(), options_.below) == 0;
      if (asked && !is_read(type, element.stem)) {
        findings_.push_back({{}, "unread-field", "no rule reads " + field});
        continue;
      }
      const TypeId inner = element.members.size() == 1 ? element.members[0].type : kNoType;
      if (inner != kNoType && program_.types.model().info(inner).kind == TypeKind::kBackbone) {
        fields(inner, field, seen);
      }
    }
  }

  const Program& program_;
  const LintOptions& options_;
  std::vector<LintFinding> findings_;
};

}  // namespace

std::vector<LintFinding> lint(const MapSet& maps, const LintOptions& options) {
  return Linter(maps.program(), options).run();
}

}  // namespace engine::mapping

// What maps say about themselves: uses, imports, constants, default groups; and the order of
// compilation.

#include <algorithm>
#include <set>
#include <utility>

#include "engine/base/limits.h"
#include "engine/json/write.h"
#include "engine/mapping/compiler.h"
#include "engine/mapping/suggest.h"

namespace engine::mapping {

using base::Error;
using base::ErrorCode;
using base::Result;
using shapes::kNoType;
using shapes::TypeId;

Compiler::Compiler(Program& program, std::vector<Error>& problems)
    : program_(program), problems_(problems), vocabulary_(program.types.model()) {}

void Compiler::fail(Place place, std::string message, ErrorCode code) {
  if (problems_.size() >= base::limits::kMapProblemsMax) {
    return;
  }
  const std::string where = place_text(map_ != nullptr ? map_->map.file : std::string(), place);
  for (const Error& known : problems_) {
    // A group compiled for several types says the same thing several times, with the types it knows
    // first.
    if (known.where == where) {
      return;
    }
  }
  problems_.emplace_back(code, std::move(message), where);
}

const char* Compiler::keep(std::string text) {
  program_.texts.push_back(std::move(text));
  return program_.texts.back().c_str();
}

std::string_view Compiler::type_name(TypeId type) const {
  return type == kNoType ? std::string_view("anything") : model().info(type).name;
}

void Compiler::run() {
  std::unordered_map<std::string, const ParsedMap*> urls;
  for (ParsedMap& map : program_.maps) {
    map_ = &map;
    const auto [at, fresh] = urls.emplace(map.map.url, &map);
    if (!fresh) {
      fail({1, 1},
           "the map " + map.map.url + " is defined in " + at->second->map.file + " already");
    }
    resolve_uses(map);
    resolve_imports(map);
    check_groups(map);
  }
  for (ParsedMap& map : program_.maps) {
    map_ = &map;
    evaluate_constants(map);
    collect_defaults(map);
    describe(map);
  }
  for (ParsedMap& map : program_.maps) {
    for (const ParsedMap* imported : map.imports) {
      map.imported_defaults.insert(map.imported_defaults.end(), imported->own_defaults.begin(),
                                   imported->own_defaults.end());
    }
  }
  compile_waiting();
  // Groups with open inputs come last: what is wrong with them is said better where the types are
  // known.
  for (const auto& [id, found] : open_groups_) {
    std::vector<TypeId> types;
    for (const GroupInput& input : found.group->inputs) {
      types.push_back(type_named(*found.map, input.type));
    }
    map_ = found.map;
    program_.entry_points[id] = instance(found, std::move(types), found.group->place);
  }
  compile_waiting();
}

void Compiler::compile_waiting() {
  while (!waiting_.empty()) {
    Instance* next = waiting_.front();
    waiting_.pop_front();
    compile_instance(*next);
  }
}

// "http://.../StructureDefinition/Patient" by its shape, or by the type its last part names.
void Compiler::resolve_uses(ParsedMap& map) {
  static constexpr std::string_view kPublished = "http://hl7.org/fhir/StructureDefinition/";
  for (const Use& use : map.map.uses) {
    TypeId type = kNoType;
    std::string name = use.url.substr(use.url.rfind('/') + 1);
    if (const shapes::Shape* shape = program_.catalog.find_shape(use.url)) {
      type = shape->type;
    } else if (use.url.substr(0, kPublished.size()) == kPublished) {
      type = model().find(name).value_or(kNoType);
    } else {
      type = model().find(use.url).value_or(kNoType);
    }
    if (type == kNoType) {
      fail(use.place, "the structure " + use.url + " is not loaded: add the package that has it",
           ErrorCode::kNotFound);
      continue;
    }
    const std::string& alias = use.alias.empty() ? name : use.alias;
    const auto [at, fresh] = map.aliases.emplace(alias, type);
    if (!fresh && at->second != type) {
      fail(use.place, "the alias " + alias + " stands for another structure already");
    }
  }
}

namespace {

bool matches_import(const std::string& pattern, const std::string& url) {
  const std::size_t star = pattern.find('*');
  if (star == std::string::npos) {
    return pattern == url;
  }
  const std::string_view head = std::string_view(pattern).substr(0, star);
  const std::string_view tail = std::string_view(pattern).substr(star + 1);
  return url.size() >= head.size() + tail.size() && url.compare(0, head.size(), head) == 0 &&
         url.compare(url.size() - tail.size(), tail.size(), tail) == 0;
}

}  // namespace

void Compiler::resolve_imports(ParsedMap& map) {
  for (const Import& import : map.map.imports) {
    bool found = false;
    for (const ParsedMap& other : program_.maps) {
      if (&other == &map || !matches_import(import.url, other.map.url)) {
        continue;
      }
      found = true;
      if (std::find(map.imports.begin(), map.imports.end(), &other) == map.imports.end()) {
        map.imports.push_back(&other);
      }
    }
    if (!found) {
      fail(import.place, "there is no map " + import.url + " to import", ErrorCode::kNotFound);
    }
  }
}

void Compiler::evaluate_constants(ParsedMap& map) {
  for (const auto& [name, value] : program_.options.constants) {
    program_.constant_items.push_back({fhirpath::Item::of_string(keep(value))});
    map.constants.emplace_back(program_.constant_items.back());
  }
  const Scope nothing;
  for (const Constant& constant : map.map.constants) {
    Result<CompiledExpression> compiled =
        compile_expression(constant.value, {&nothing, &map, kNoType, false}, vocabulary_, program_);
    fhirpath::Items items;
    if (!compiled) {
      problems_.push_back(std::move(compiled).error());
    } else {
      std::vector<fhirpath::Items> variables;
      for (const Slot slot : compiled->slots) {
        variables.push_back(map.constants[static_cast<std::size_t>(slot - kFirstConstant)]);
      }
      fhirpath::Context context;
      context.variables = variables;
      Result<fhirpath::Items> value = compiled->expression.evaluate(context, program_.workspace);
      if (!value) {
        fail(constant.value.place, "the constant " + constant.name + ": " + value.error().detail);
      } else {
        program_.constant_items.emplace_back(value->begin(), value->end());
        items = program_.constant_items.back();
      }
      program_.constant_expressions.push_back(std::move(compiled->expression));
    }
    map.constants.push_back(items);
  }
}

TypeId Compiler::type_named(const ParsedMap& map, const std::string& name) const {
  const std::size_t dot = name.find('.');
  const auto alias = map.aliases.find(name.substr(0, dot));
  if (alias != map.aliases.end()) {
    if (dot == std::string::npos) {
      return alias->second;
    }
    const std::string path = std::string(model().info(alias->second).name) + name.substr(dot);
    return model().find(path).value_or(kNoType);
  }
  return model().find(name).value_or(kNoType);
}

TypeId Compiler::declared_type(const ParsedMap& map, const std::string& name, Place place) {
  if (name.empty()) {
    return kNoType;
  }
  const TypeId type = type_named(map, name);
  if (type == kNoType) {
    std::vector<std::string_view> names;
    for (const auto& [alias, known] : map.aliases) {
      names.push_back(alias);
    }
    for (std::size_t i = 0; i < model().size(); ++i) {
      names.push_back(model().info(static_cast<TypeId>(i)).name);
    }
    fail(place, "there is no type " + name + did_you_mean(name, names));
  }
  return type;
}

void Compiler::check_groups(ParsedMap& map) {
  std::set<std::string_view> names;
  for (const Group& group : map.map.groups) {
    if (!names.insert(group.name).second) {
      fail(group.place, "the map has a group " + group.name + " already");
    }
    std::set<std::string_view> inputs;
    for (const GroupInput& input : group.inputs) {
      if (!inputs.insert(input.name).second) {
        fail(input.place, "the group has an input " + input.name + " already");
      }
    }
    number_rules(map, group, group.rules);
  }
}

void Compiler::number_rules(const ParsedMap& map, const Group& group,
                            const std::vector<Rule>& rules) {
  for (const Rule& rule : rules) {
    const auto number = static_cast<std::uint32_t>(program_.rules.size());
    numbers_[&rule] = number;
    std::string place = map.map.file;
    place += rule.place.line == 0 ? std::string() : ":" + std::to_string(rule.place.line);
    std::string row = "[";
    json::write_string(place, row);
    row += ",";
    json::write_string(rule.name, row);
    row += "]";
    program_.rules.push_back(
        {&map, &group, &rule, {std::move(place), rule.name, std::move(row), number}});
    number_rules(map, group, rule.rules);
  }
}

// Two defaults for the same types cannot be told apart, so they are refused before anybody needs
// one.
void Compiler::collect_defaults(ParsedMap& map) {
  for (const Group& group : map.map.groups) {
    if (group.type_mode == TypeMode::kNone) {
      continue;
    }
    const bool two = group.inputs.size() == 2 && group.inputs[0].is_source &&
                     !group.inputs[1].is_source && !group.inputs[0].type.empty() &&
                     !group.inputs[1].type.empty();
    if (!two) {
      fail(group.place, "a default group has one typed source and one typed target");
      continue;
    }
    DefaultGroup entry;
    entry.source = declared_type(map, group.inputs[0].type, group.inputs[0].place);
    entry.target = declared_type(map, group.inputs[1].type, group.inputs[1].place);
    entry.mode = group.type_mode;
    for (const DefaultGroup& other : map.own_defaults) {
      const bool same_types = other.source == entry.source && other.target == entry.target;
      const bool same_open = other.source == entry.source &&
                             other.mode == TypeMode::kTypeAndTypes &&
                             entry.mode == TypeMode::kTypeAndTypes;
      if (same_types || same_open) {
        fail(group.place, "two default groups: " + other.instance->group->name + " and " +
                              group.name + " both answer for " +
                              std::string(type_name(entry.source)) +
                              (same_types ? " to " + std::string(type_name(entry.target))
                                          : " with an open target"));
      }
    }
    entry.instance = instance({&map, &group}, {entry.source, entry.target}, group.place);
    if (entry.instance != nullptr) {
      map.own_defaults.push_back(entry);
    }
  }
}

void Compiler::describe(ParsedMap& map) {
  MapInfo info;
  info.url = map.map.url;
  info.name = map.map.name;
  info.title = map.map.title;
  info.file = map.map.file;
  for (const Group& group : map.map.groups) {
    GroupInfo described;
    described.name = group.name;
    described.line = group.place.line;
    std::vector<TypeId> types;
    for (const GroupInput& input : group.inputs) {
      const TypeId type = declared_type(map, input.type, input.place);
      types.push_back(type);
      described.inputs.push_back({input.name, input.type, type, input.is_source});
    }
    described.id = static_cast<std::uint32_t>(program_.entry_points.size());
    const bool open = std::find(types.begin(), types.end(), kNoType) != types.end();
    program_.entry_points.push_back(open ? nullptr
                                         : instance({&map, &group}, std::move(types), group.place));
    if (open) {
      open_groups_.emplace_back(described.id, FoundGroup{&map, &group});
    }
    info.groups.push_back(std::move(described));
  }
  program_.infos.push_back(std::move(info));
}

}  // namespace engine::mapping

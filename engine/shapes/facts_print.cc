#include <algorithm>
#include <map>
#include <tuple>

#include "engine/shapes/facts.h"
#include "engine/shapes/words.h"

namespace engine::shapes {
namespace {

// Invariants that every element of a kind has are said at the root of its type only.
bool is_everywhere(const ElementFacts& element, const ConstraintFact& constraint) {
  if (element.path.find('.') == std::string_view::npos) {
    return false;
  }
  return (constraint.key == "ele-1" && constraint.is_error) ||
         (constraint.key == "ext-1" && element.types.size() == 1 &&
          element.types[0].code == "Extension");
}

// Invariants are printed once a file and named by their key; two that share a key and differ get
// "#2" ... Definitions disagree about the source of one and the same invariant: the first wins.
class InvariantNames {
 public:
  explicit InvariantNames(const FactSet& facts) {
    for (const ShapeFacts& shape : facts.shapes) {
      for (const ElementFacts& element : shape.elements) {
        for (const ConstraintFact& constraint : element.constraints) {
          if (is_everywhere(element, constraint)) {
            continue;
          }
          Entry& entry = entries_[identity(constraint)];
          entry.best_practice |= constraint.best_practice;
          if (!constraint.source.empty() &&
              (entry.source.empty() || constraint.source < entry.source)) {
            entry.source = constraint.source;
          }
        }
      }
    }
    std::map<std::string_view, int> seen;
    for (auto& [id, entry] : entries_) {
      const int number = ++seen[std::get<0>(id)];
      entry.name = std::string(std::get<0>(id));
      if (number > 1) {
        entry.name += "#" + std::to_string(number);
      }
    }
  }
  const std::string& of(const ConstraintFact& constraint) {
    return entries_[identity(constraint)].name;
  }

  void print(std::string& out) const {
    for (const auto& [id, entry] : entries_) {
      const auto& [key, expression, is_error] = id;
      out += "invariant " + entry.name + (is_error ? " error" : " warning");
      out += entry.best_practice ? "+bestpractice " : " ";
      out += entry.source.empty() ? std::string_view("-") : shortened(entry.source);
      out += " ";
      append_line_text(expression, out);
      out += "\n";
    }
  }

 private:
  struct Entry {
    std::string name;
    std::string_view source;
    bool best_practice = false;
  };
  using Identity = std::tuple<std::string_view, std::string_view, bool>;
  static Identity identity(const ConstraintFact& c) { return {c.key, c.expression, c.is_error}; }
  std::map<Identity, Entry> entries_;
};

void print_type(const TypeFact& type, std::string& out) {
  out += " ";
  out += type.code;
  for (const std::string_view profile : type.profiles) {
    out += "<";
    out += shortened(profile);
  }
  for (const std::string_view target : type.targets) {
    out += ">";
    out += shortened(target);
  }
  if (type.aggregation != 0 || type.versioning != TypeRef::Versioning::kEither) {
    out += "{";
    const std::size_t start = out.size();
    for (const auto& [bit, word] : kAggregationWords) {
      if ((type.aggregation & static_cast<std::uint8_t>(bit)) != 0) {
        out += out.size() > start ? "," : "";
        out += word;
      }
    }
    if (type.versioning != TypeRef::Versioning::kEither) {
      out += out.size() > start ? "," : "";
      out += word_of(kVersioningWords, type.versioning);
    }
    out += "}";
  }
}

// The types of Extension.value[x] in R4: so many profiles repeat them that they are written "*".
bool is_open_choice(const ElementFacts& element) {
  constexpr std::size_t kOpenTypes = 50;
  return element.any_type ||
         (element.types.size() == kOpenTypes && element.path.ends_with("[x]") &&
          std::all_of(element.types.begin(), element.types.end(), [](const TypeFact& type) {
            return type.profiles.empty() && type.targets.empty() && type.aggregation == 0;
          }));
}

void print_value(std::string_view word, const ValueFact& value, std::string& out) {
  if (value.present()) {
    out += "    ";
    out += word;
    out += " ";
    out += value.type;
    out += " ";
    append_line_text(value.json, out);
    out += "\n";
  }
}

void print_binding(const BindingFact& binding, std::string& out) {
  if (!binding.present) {
    return;
  }
  out += "    binding ";
  out += word_of(kStrengthWords, binding.strength);
  out += " ";
  out += binding.value_set.empty() ? std::string_view("-") : binding.value_set;
  if (!binding.max_value_set.empty()) {
    out += " max ";
    out += binding.max_value_set;
  }
  out += "\n";
}

void print_slicing(const SlicingFact& slicing, std::string& out) {
  if (!slicing.present) {
    return;
  }
  out += "    slicing ";
  out += word_of(kRulesWords, slicing.rules);
  out += slicing.ordered ? " ordered" : "";
  for (const DiscriminatorFact& discriminator : slicing.discriminators) {
    out += " ";
    out += word_of(kDiscriminatorWords, discriminator.kind);
    out += ":";
    append_without_spaces(discriminator.path, out);
  }
  out += "\n";
}

void print_element(const ElementFacts& element, bool in_profile, InvariantNames& invariants,
                   std::string& out) {
  out += "  e ";
  out += element.id;
  out += " " + std::to_string(element.min) + ".." + bound_text(element.max);
  if (element.base_max != element.max) {
    out += "(" + bound_text(element.base_max) + ")";
  }
  std::string flags;
  flags += element.must_support ? "S" : "";
  flags += element.is_modifier ? "M" : "";
  flags += element.is_summary ? "Z" : "";
  out += " " + (flags.empty() ? std::string("-") : flags);
  if (in_profile && is_open_choice(element)) {
    out += " *";
  } else {
    for (const TypeFact& type : element.types) {
      print_type(type, out);
    }
  }
  out += "\n";
  if (!element.content_reference.empty()) {
    out += "    content ";
    out += element.content_reference;
    out += "\n";
  }
  print_binding(element.binding, out);
  print_value("fixed", element.fixed, out);
  print_value("pattern", element.pattern, out);
  print_value("min-value", element.min_value, out);
  print_value("max-value", element.max_value, out);
  if (element.length_max != 0) {
    out += "    max-length " + std::to_string(element.length_max) + "\n";
  }
  print_slicing(element.slicing, out);
  std::vector<std::string> names;
  for (const ConstraintFact& constraint : element.constraints) {
    if (!is_everywhere(element, constraint)) {
      names.push_back(invariants.of(constraint));
    }
  }
  if (!names.empty()) {
    std::sort(names.begin(), names.end());
    out += "    inv";
    for (const std::string& name : names) {
      out += " " + name;
    }
    out += "\n";
  }
}

void print_canonical(std::string_view word, std::string_view url, std::string_view version,
                     std::string& out) {
  out += word;
  out += " ";
  out += url;
  if (!version.empty()) {
    out += "|";
    out += version;
  }
}

void print_shape(const ShapeFacts& shape, InvariantNames& invariants, std::string& out) {
  print_canonical("shape", shape.url, shape.version, out);
  out += "\n  is ";
  out += word_of(kKindWords, shape.kind);
  out += " ";
  out += shape.type;
  out += shape.is_profile ? " profile" : " type";
  out += shape.is_abstract ? " abstract" : "";
  out += shape.is_retired ? " retired" : "";
  out += "\n  name ";
  append_line_text(shape.name, out);
  out += "\n";
  if (!shape.base.empty()) {
    out += "  base ";
    out += shape.base;
    out += "\n";
  }
  for (const ContextFact& context : shape.contexts) {
    out += "  context ";
    out += word_of(kContextWords, context.kind);
    out += " ";
    append_line_text(context.expression, out);
    out += "\n";
  }
  for (const std::string_view invariant : shape.context_invariants) {
    out += "  context-invariant ";
    append_line_text(invariant, out);
    out += "\n";
  }
  for (const ElementFacts& element : shape.elements) {
    print_element(element, shape.is_profile, invariants, out);
  }
}

void print_code_system(const CodeSystemFacts& system, std::string& out) {
  print_canonical("codesystem", system.url, system.version, out);
  out += system.complete ? " complete" : " partial";
  out += system.case_sensitive ? "\n" : " any-case\n";
  for (const CodeFact& code : system.codes) {
    out += "  c";
    out += code.depth > 0 ? std::to_string(code.depth) : "";
    out += " ";
    append_line_text(code.code, out);
    out += "\n";
  }
  for (const auto& [child, parent] : system.also_below) {
    out += "  below ";
    append_without_spaces(parent, out);
    out += " ";
    append_without_spaces(child, out);
    out += "\n";
  }
}

void print_value_set(const ValueSetFacts& set, std::string& out) {
  print_canonical("valueset", set.url, set.version, out);
  out += "\n";
  for (const ValueSetFacts::Part& part : set.parts) {
    out += "  ";
    out += word_of(kPartWords, part.kind);
    out += " ";
    out += part.system.empty() ? std::string_view("-") : part.system;
    if (!part.reason.empty()) {
      out += " ";
      append_line_text(part.reason, out);
    }
    out += "\n";
    for (const std::string_view code : part.codes) {
      out += "    ";
      append_line_text(code, out);
      out += "\n";
    }
  }
}

template <class T>
std::vector<const T*> by_canonical(const std::vector<T>& items) {
  std::vector<const T*> sorted;
  for (const T& item : items) {
    sorted.push_back(&item);
  }
  std::stable_sort(sorted.begin(), sorted.end(), [](const T* a, const T* b) {
    return std::tie(a->url, a->version) < std::tie(b->url, b->version);
  });
  return sorted;
}

}  // namespace

std::string print_facts(const FactSet& facts) {
  std::string out = "facts 1\n";
  if (!facts.package.empty()) {
    out += "package ";
    out += facts.package;
    out += "\n";
  }
  for (const std::string_view dependency : facts.dependencies) {
    out += "depends ";
    out += dependency;
    out += "\n";
  }
  InvariantNames invariants(facts);
  invariants.print(out);
  for (const ShapeFacts* shape : by_canonical(facts.shapes)) {
    print_shape(*shape, invariants, out);
  }
  for (const CodeSystemFacts* system : by_canonical(facts.code_systems)) {
    print_code_system(*system, out);
  }
  for (const ValueSetFacts* set : by_canonical(facts.value_sets)) {
    print_value_set(*set, out);
  }
  return out;
}

}  // namespace engine::shapes

#include "engine/cli/profiles_view.h"

#include <algorithm>
#include <vector>

#include "engine/json/write.h"
#include "engine/shapes/words.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using shapes::Catalog;
using shapes::Shape;
using shapes::ShapeElement;

std::string padded(std::string text, std::size_t width) {
  text.resize(std::max(text.size() + 1, width), ' ');
  return text;
}

std::string canonical_of(const Shape& shape) {
  std::string text(shape.url);
  return shape.version.empty() ? text : text + "|" + std::string(shape.version);
}

// "patient" finds ".../us-core-patient" for a message.
std::string nearest(const Catalog& catalog, std::string_view wanted) {
  const std::string_view tail = wanted.substr(wanted.rfind('/') + 1);
  std::string names;
  std::size_t count = 0;
  for (const Shape* shape : catalog.shapes()) {
    if (!tail.empty() && shape->url.find(tail) != std::string_view::npos && count < 5) {
      names += (count++ == 0 ? "; similar: " : ", ") + canonical_of(*shape);
    }
  }
  return names;
}

Result<const Shape*> find_shape(const Catalog& catalog, std::string_view canonical) {
  const Shape* shape = catalog.find_shape(canonical);
  if (shape == nullptr && canonical.find(':') == std::string_view::npos) {
    shape = catalog.find_shape(std::string(shapes::kStructurePrefix) + std::string(canonical));
  }
  if (shape == nullptr) {
    return Error(ErrorCode::kNotFound,
                 "no definition of this canonical is known" + nearest(catalog, canonical),
                 std::string(canonical));
  }
  return shape;
}

std::string types_of(const Catalog& catalog, const ShapeElement& element) {
  if (!element.content_reference.empty()) {
    return "as " + std::string(element.content_reference.substr(1));
  }
  if (element.types.size() > 15) {
    return "any of " + std::to_string(element.types.size()) + " types";
  }
  std::string text;
  for (const shapes::TypeRef& type : element.types) {
    const shapes::TypeInfo& info = catalog.types().info(type.type);
    const bool nested = info.kind == shapes::TypeKind::kBackbone;
    text += text.empty() ? "" : " | ";
    text += nested ? catalog.types().info(info.base).name : info.name;
    std::string targets;
    for (const auto* refs : {&type.profiles, &type.target_profiles}) {
      for (const shapes::ShapeRef& ref : *refs) {
        targets += targets.empty() ? "" : ", ";
        targets += shapes::shortened(ref.canonical);
      }
    }
    text += targets.empty() ? "" : "(" + targets + ")";
  }
  return text;
}

std::string value_of(const ShapeElement& element) {
  if (element.fixed != nullptr) {
    return "= " + json::to_text(*element.fixed);
  }
  return element.pattern != nullptr ? "~ " + json::to_text(*element.pattern) : "";
}

std::string binding_of(const ShapeElement& element) {
  if (element.binding == nullptr) {
    return "";
  }
  return std::string(shapes::word_of(shapes::kStrengthWords, element.binding->strength)) + " " +
         std::string(element.binding->canonical);
}

std::string slicing_of(const ShapeElement& element) {
  if (element.slicing == nullptr) {
    return "";
  }
  std::string text = "sliced by";
  for (const shapes::Discriminator& discriminator : element.slicing->discriminators) {
    text += " " + std::string(shapes::word_of(shapes::kDiscriminatorWords, discriminator.kind)) +
            ":" + std::string(discriminator.path);
  }
  text += ", " + std::string(shapes::word_of(shapes::kRulesWords, element.slicing->rules));
  return text + (element.slicing->ordered ? ", ordered" : "");
}

std::string invariants_of(const Catalog& catalog, const ShapeElement& element) {
  std::string keys;
  for (const shapes::ConstraintId id : element.constraints) {
    keys += (keys.empty() ? "" : " ") + std::string(catalog.constraint(id).key);
  }
  return keys;
}

std::string bounds_of(const ShapeElement& element) {
  return std::to_string(element.min) + ".." + shapes::bound_text(element.max);
}

// Everything an element demands, an aspect an entry; empty ones say nothing.
struct Aspect {
  std::string_view name;
  std::string text;
};
std::vector<Aspect> aspects_of(const Catalog& catalog, const ShapeElement& element) {
  return {{"cardinality", bounds_of(element)},
          {"types", types_of(catalog, element)},
          {"binding", binding_of(element)},
          {"value", value_of(element)},
          {"slicing", slicing_of(element)},
          {"invariants", invariants_of(catalog, element)},
          {"must support", element.must_support ? "yes" : ""}};
}

// The same element of the base type's definition; nullptr for slices and what lies below them.
const ShapeElement* same_element(const Shape& shape, std::string_view id) {
  for (const ShapeElement& element : shape.elements) {
    if (element.id == id) {
      return &element;
    }
  }
  return nullptr;
}

bool says_more(const Catalog& catalog, const ShapeElement& element) {
  const Shape* base = catalog.base_shape(element.shape->type);
  const ShapeElement* same = base != nullptr ? same_element(*base, element.id) : nullptr;
  if (same == nullptr || same == &element) {
    return true;
  }
  const auto ours = aspects_of(catalog, element);
  const auto theirs = aspects_of(catalog, *same);
  for (std::size_t i = 0; i < ours.size(); ++i) {
    if (ours[i].text != theirs[i].text) {
      return true;
    }
  }
  return false;
}

}  // namespace

std::string list_shapes(const Catalog& catalog, const ListFilter& filter) {
  std::vector<const Shape*> shapes(catalog.shapes().begin(), catalog.shapes().end());
  std::sort(shapes.begin(), shapes.end(), [](const Shape* a, const Shape* b) {
    return std::tie(a->url, a->version) < std::tie(b->url, b->version);
  });
  std::string text;
  std::size_t count = 0;
  for (const Shape* shape : shapes) {
    const std::string_view type = catalog.types().info(shape->type).name;
    if ((shape->is_extension && !filter.extensions) || (!shape->is_profile && !filter.types) ||
        (!filter.type.empty() && type != filter.type) ||
        (!filter.package.empty() && shape->package != filter.package)) {
      continue;
    }
    ++count;
    text += padded(canonical_of(*shape), 78) + padded(std::string(type), 22) +
            std::string(shape->package) + "\n";
  }
  return text + std::to_string(count) + " of " + std::to_string(shapes.size()) + " definitions\n";
}

Result<std::string> show_shape(const Catalog& catalog, std::string_view canonical,
                               bool every_element) {
  Result<const Shape*> found = find_shape(catalog, canonical);
  if (!found) {
    return std::move(found).error();
  }
  const Shape& shape = **found;
  std::string text = canonical_of(shape) + "\n";
  text += "  " + std::string(shape.name) + ", " + (shape.is_profile ? "a profile of " : "type ") +
          std::string(catalog.types().info(shape.type).name) + ", based on " +
          (shape.base_canonical.empty() ? "nothing" : std::string(shape.base_canonical)) +
          ", from " + (shape.package.empty() ? "loose files" : std::string(shape.package)) + "\n";
  for (const shapes::ExtensionContext& context : shape.contexts) {
    text += "  may stand on " + std::string(context.expression) + "\n";
  }
  text += "\n";
  for (const ShapeElement& element : shape.elements) {
    if (!every_element && !element.is_root && !says_more(catalog, element)) {
      continue;
    }
    const auto depth = std::count(element.id.begin(), element.id.end(), '.');
    std::string line = std::string(static_cast<std::size_t>(depth) * 2, ' ') +
                       std::string(element.id.substr(element.id.rfind('.') + 1));
    line = padded(line, 44) + padded(bounds_of(element), 8);
    line += element.must_support ? "S" : " ";
    line += element.is_modifier ? "M " : "  ";
    line += types_of(catalog, element);
    for (const std::string& part : {value_of(element), binding_of(element), slicing_of(element),
                                    invariants_of(catalog, element)}) {
      line += part.empty() ? "" : "; " + part;
    }
    text += line + "\n";
  }
  return text;
}

std::vector<Saying> sayings(const Catalog& catalog, const Shape& shape,
                            std::string_view element_id) {
  std::vector<const Shape*> chain;  // from the base to the definition asked for
  for (const Shape* each = &shape; each != nullptr && chain.size() < 64; each = each->base) {
    chain.insert(chain.begin(), each);
  }
  std::vector<Saying> list;
  std::vector<Aspect> before;
  for (const Shape* each : chain) {
    const ShapeElement* element = same_element(*each, element_id);
    if (element == nullptr) {
      continue;
    }
    Saying saying{canonical_of(*each), {}};
    const std::vector<Aspect> now = aspects_of(catalog, *element);
    for (std::size_t i = 0; i < now.size(); ++i) {
      if (before.empty() ? !now[i].text.empty() : now[i].text != before[i].text) {
        saying.parts.push_back(
            {std::string(now[i].name), now[i].text.empty() ? "(nothing any more)" : now[i].text});
      }
    }
    for (const shapes::ConstraintId id : element->constraints) {
      const shapes::Constraint& constraint = catalog.constraint(id);
      saying.parts.push_back({std::string(constraint.key), std::string(constraint.expression)});
    }
    list.push_back(std::move(saying));
    before = now;
  }
  return list;
}

std::string text_of(const std::vector<Saying>& list) {
  std::string text;
  for (const Saying& saying : list) {
    text += "\n" + saying.canonical + "\n";
    for (const Saying::Part& part : saying.parts) {
      text += "  " + padded(part.aspect, 14) + part.text + "\n";
    }
    text += saying.parts.empty() ? "  says nothing more\n" : "";
  }
  return text;
}

Result<std::string> explain_element(const Catalog& catalog, std::string_view place) {
  const std::size_t hash = place.find('#');
  if (hash == std::string_view::npos) {
    return Error(ErrorCode::kInvalid, "write the place as CANONICAL#PATH", std::string(place));
  }
  Result<const Shape*> found = find_shape(catalog, place.substr(0, hash));
  if (!found) {
    return std::move(found).error();
  }
  const std::string_view path = place.substr(hash + 1);
  if (same_element(**found, path) == nullptr) {
    return Error(ErrorCode::kNotFound,
                 "the definition has no element of this id; `profiles show` lists them",
                 std::string(place));
  }
  return std::string(path) + "\n" + text_of(sayings(catalog, **found, path));
}

}  // namespace engine::cli

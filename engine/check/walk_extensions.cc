// Walk: extensions. Source: FHIR R4 extensibility.html, StructureDefinition.context.

#include "engine/check/compare.h"
#include "engine/check/walk.h"
#include "engine/fhir/reference.h"

namespace engine::check {

using shapes::TypeId;

namespace {

constexpr std::string_view kModifier = "modifierExtension";

}  // namespace

void Walk::extension_shape(const json::Node& node, const json::Node& object_node,
                           ActiveList& actives) {
  const json::Node* url = node.find(words().url);
  if (url == nullptr || !url->is_string() || url->length == 0) {
    return;  // said of the element
  }
  if (!fhir::is_absolute_uri(url->text())) {
    const json::Node* around = object_node.name != nullptr ? &object_node : object_node.parent;
    const bool inside = around != nullptr &&
                        (around->name_text() == "extension" || around->name_text() == kModifier);
    if (!inside) {
      report().add(Severity::kError, "invalid", node, [&] {
        return "found " + shown(*url) +
               "; an extension's url is absolute (only parts of an "
               "extension have short names)";
      });
    }
    return;
  }
  const json::Node* list = node.name != nullptr ? &node : node.parent;
  const bool is_modifier = list != nullptr && list->name_text() == kModifier;
  const shapes::Shape* shape = checker_.catalog.find_shape(url->text());
  if (shape == nullptr) {
    report().add(is_modifier ? Severity::kWarning : Severity::kInformation, "not-found", node, [&] {
      return "the extension " + shown(*url) + " is not loaded, so it is not checked" +
             (is_modifier ? "; it may change what the rest means" : "");
    });
    return;
  }
  if (shape->type != words().extension) {
    report().add(Severity::kError, "structure", node, [&] {
      return shown(*url) + " is the address of a " + std::string(types().info(shape->type).name) +
             ", not of an extension";
    });
    return;
  }
  if (shape->root().is_modifier != is_modifier) {
    report().add(Severity::kError, "structure", node, [&] {
      return shown(*url) + (is_modifier ? " is no modifier; it belongs in extension"
                                        : " is a modifier; it belongs in modifierExtension");
    });
  }
  extension_context(object_node, *shape);
  for (const Active& each : actives.span()) {
    if (each.element->element->shape == shape && each.element->element->is_root) {
      return;
    }
  }
  const ElementPlan& plan = checker_.plans.of(*shape);
  actives.push({&plan, nullptr, &plan});
}

namespace {

// The path of the holder below each object above it: "Patient.contact.name", "HumanName".
class HolderPaths {
 public:
  HolderPaths(const json::Node& holder, const json::Node& resource, const shapes::TypeModel& types)
      : types_(types) {
    std::vector<const json::Node*> chain;
    for (const json::Node* at = &holder; at != nullptr; at = at->parent) {
      if (!at->is_array() || at->name != nullptr) {
        chain.push_back(at);
      }
      if (at == &resource) {
        break;
      }
    }
    TypeId type = kNone;
    if (const auto found = types.find(resource.string_at("resourceType"))) {
      type = *found;
    }
    steps_.push_back({type, {}});
    for (std::size_t i = chain.size(); i-- > 0;) {
      const json::Node& node = *chain[i];
      if (&node == &resource || node.name == nullptr) {
        continue;
      }
      const shapes::Member* member = type != kNone ? types.member(type, node.name) : nullptr;
      if (member == nullptr) {
        type = kNone;
        steps_.push_back({kNone, node.name->text});
        continue;
      }
      const std::string_view stem = types.info(type).elements[member->element].stem->text;
      type = member->type;
      steps_.push_back({type, stem});
    }
  }

  bool matches(std::string_view wanted) const {
    std::string plain;
    for (std::size_t i = 0; i < wanted.size(); ++i) {
      if (wanted.substr(i).starts_with("[x]")) {
        i += 2;
      } else if (wanted[i] == ':') {
        while (i + 1 < wanted.size() && wanted[i + 1] != '.') {
          ++i;
        }
      } else {
        plain += wanted[i];
      }
    }
    std::string below;
    for (std::size_t i = steps_.size(); i-- > 0;) {
      for (TypeId type = steps_[i].type; type != kNone; type = types_.info(type).base) {
        if (std::string(types_.info(type).name) + below == plain) {
          return true;
        }
      }
      below = "." + std::string(steps_[i].stem) + below;
    }
    return false;
  }

 private:
  static constexpr TypeId kNone = shapes::kNoType;
  struct Step {
    TypeId type;
    std::string_view stem;
  };
  const shapes::TypeModel& types_;
  std::vector<Step> steps_;
};

}  // namespace

void Walk::extension_context(const json::Node& holder, const shapes::Shape& shape) {
  if (shape.contexts.empty()) {
    return;
  }
  const HolderPaths paths(holder, *frame_->resource, types());
  using Kind = shapes::ExtensionContext::Kind;
  bool fits = false;
  for (const shapes::ExtensionContext& context : shape.contexts) {
    if (context.kind == Kind::kExtension) {
      fits = fits || holder.string_at("url") == context.expression;
    } else if (context.kind == Kind::kElement) {
      fits = fits || paths.matches(context.expression) || context.expression == "Element";
    } else {
      fits = fits || in_fhirpath_context(holder, context.expression);
    }
    if (fits) {
      break;
    }
  }
  if (!fits) {
    report().add(Severity::kError, "structure", holder, [&] {
      std::string text = "the extension " + std::string(shape.url) + " may not stand here; only at";
      for (std::size_t i = 0; i < shape.contexts.size(); ++i) {
        text += (i == 0 ? " " : ", ") + std::string(shape.contexts[i].expression);
      }
      return text;
    });
  }
}

// FHIRPath contexts select the elements, from the resource, that may hold the extension.
bool Walk::in_fhirpath_context(const json::Node& holder, std::string_view text) {
  const fhirpath::Expression* expression = checker_.rules.expression(text);
  if (expression == nullptr) {
    return true;
  }
  const fhirpath::Item focus = fhirpath::Item::of_node(frame_->resource, frame_->type);
  fhirpath::Context context;
  context.focus = {&focus, 1};
  context.resource = focus;
  context.now = options_.now;
  if (evaluations_ == 0) {
    scratch_.workspace.reset();
  }
  const base::Result<fhirpath::Items> items = expression->evaluate(context, scratch_.workspace);
  if (!items) {
    return true;
  }
  for (const fhirpath::Item& item : *items) {
    if (item.is_node() && (item.at.node == &holder || item.at.companion == &holder)) {
      return true;
    }
  }
  return false;
}

}  // namespace engine::check

// Walk: references. Source: FHIR R4 references.html, bundle.html (resolving references).

#include "engine/check/compare.h"
#include "engine/check/place.h"
#include "engine/check/walk.h"
#include "engine/fhir/reference.h"

namespace engine::check {

using fhir::ParsedReference;
using fhir::ReferenceForm;
using shapes::TypeId;

namespace {

const json::Node* contained_with_id(const json::Node& container, std::string_view id) {
  const json::Node* list = container.find("contained");
  if (list != nullptr) {
    for (const json::Node& each : *list) {
      if (each.string_at("id") == id) {
        return &each;
      }
    }
  }
  return nullptr;
}

// http and https name the same object; the query does not count.
std::string_view without_scheme(std::string_view url) {
  return url.starts_with("https://")  ? url.substr(8)
         : url.starts_with("http://") ? url.substr(7)
                                      : url;
}

}  // namespace

const BundleIndex& Walk::index_of(const json::Node& bundle_node) {
  for (const BundleIndex& each : scratch_.bundles) {
    if (each.bundle == &bundle_node) {
      return each;
    }
  }
  BundleIndex index;
  index.bundle = &bundle_node;
  const json::Node* list = bundle_node.find(words().entry);
  if (list != nullptr && list->is_array()) {
    for (const json::Node& each : *list) {
      const json::Node* url = each.find(words().full_url);
      const json::Node* inside = each.find(words().resource_name);
      if (url == nullptr || inside == nullptr || !url->is_string() || !inside->is_object()) {
        continue;
      }
      const auto [at, fresh] = index.entries.emplace(without_scheme(url->text()), &each);
      if (!fresh) {
        at->second = nullptr;  // the same address twice: versions, or a defect said by bdl-7
      }
    }
  }
  scratch_.bundles.push_back(std::move(index));
  return scratch_.bundles.back();
}

Walk::Target Walk::resolve(std::string_view reference) {
  return resolve(reference, frame_);
}

Walk::Target Walk::resolve(std::string_view reference, const ResourceFrame* from) {
  return resolve(reference, fhir::parse_reference(reference), from);
}

Walk::Target Walk::resolve(std::string_view reference, const ParsedReference& parsed,
                           const ResourceFrame* from) {
  Target target;
  if (from == nullptr || parsed.form == ReferenceForm::kEmpty) {
    return target;
  }
  const ResourceFrame* container = from->contained && from->outer != nullptr ? from->outer : from;
  if (parsed.form == ReferenceForm::kContained) {
    target.contained = true;
    target.resource = parsed.fragment.empty()
                          ? container->resource
                          : contained_with_id(*container->resource, parsed.fragment);
    return target;
  }
  for (const ResourceFrame* in = container; in != nullptr && in->outer != nullptr; in = in->outer) {
    if (in->entry == nullptr || in->outer->type != words().bundle) {
      continue;
    }
    const BundleIndex& index = index_of(*in->outer->resource);
    std::string_view address = without_scheme(reference.substr(0, reference.find('#')));
    std::string absolute;
    if (parsed.form == ReferenceForm::kRelative) {
      // Relative to the RESTful fullUrl of the entry it stands in; otherwise undefined
      // (bundle.html).
      const ParsedReference self = fhir::parse_reference(in->entry->string_at("fullUrl"));
      if (self.form != ReferenceForm::kAbsolute) {
        continue;
      }
      absolute = std::string(without_scheme(self.base)) + '/' + std::string(parsed.type) + '/' +
                 std::string(parsed.id);
      address = absolute;
    } else if (!parsed.version.empty()) {
      address = address.substr(0, address.find("/_history/"));
    }
    const auto found = index.entries.find(address);
    if (found != index.entries.end()) {
      target.bundled = true;
      target.ambiguous = found->second == nullptr;
      if (found->second != nullptr) {
        target.resource = found->second->find(words().resource_name);
      }
      return target;
    }
  }
  for (const json::Node* other : options_.others) {
    const TypeId type = type_of_resource(*other);
    if (type != shapes::kNoType && types().info(type).name == parsed.type &&
        other->string_at("id") == parsed.id && !parsed.id.empty()) {
      target.resource = other;
      return target;
    }
  }
  return target;
}

void Walk::reference(const json::Node& node, Actives actives) {
  const json::Node* literal = node.find(words().reference_name);
  const json::Node* type_node = node.find(words().type_name);
  Target target;
  TypeId type = shapes::kNoType;
  if (literal != nullptr && literal->is_string() && literal->length > 0) {
    const ParsedReference parsed = fhir::parse_reference(literal->text());
    if (parsed.form == ReferenceForm::kUnreadable) {
      report().add(Severity::kWarning, "value", *literal, [&] {
        return "found " + shown(*literal) +
               "; a relative reference is Type/id, an absolute one begins with its scheme";
      });
    } else if (parsed.form == ReferenceForm::kRelative ||
               parsed.form == ReferenceForm::kConditional) {
      const std::optional<TypeId> named = types().find(parsed.type);
      if (!named || types().info(*named).kind != shapes::TypeKind::kResource) {
        report().add(Severity::kError, "structure", node, [&] {
          return "found " + shown(*literal) + "; " + std::string(parsed.type) +
                 " is no resource of FHIR R4";
        });
      } else {
        type = *named;
      }
    } else if (parsed.form == ReferenceForm::kAbsolute) {
      type = types().find(parsed.type).value_or(shapes::kNoType);
    }
    target = resolve(literal->text(), parsed, frame_);
    if (target.ambiguous) {
      report().add(Severity::kWarning, "multiple-matches", node,
                   [&] { return shown(*literal) + " matches several entries of the Bundle"; });
    }
    if (target.resource != nullptr) {
      type = type_of_resource(*target.resource);
    }
  }
  if (type_node != nullptr && type_node->is_string() && type_node->length > 0 &&
      !fhir::is_absolute_uri(type_node->text()) && !types().find(type_node->text())) {
    report().add(Severity::kError, "structure", node, [&] {
      NearestName nearest(type_node->text());
      for (std::size_t i = 0; i < types().size(); ++i) {
        nearest.offer(types().info(static_cast<TypeId>(i)).name);
      }
      return "type is " + shown(*type_node) + ", which is no resource of FHIR R4" +
             (nearest.best().empty() ? "" : "; did you mean " + std::string(nearest.best()) + "?");
    });
  }
  const bool named = type_node != nullptr && type_node->is_string();
  if (named && type != shapes::kNoType && type_node->text() != types().info(type).name &&
      types().find(type_node->text())) {
    report().add(Severity::kError, "structure", node, [&] {
      return "type says " + shown(*type_node) + ", the reference is to " +
             std::string(types().info(type).name);
    });
  }
  if (type == shapes::kNoType && named) {
    type = types().find(type_node->text()).value_or(shapes::kNoType);
  }
  for (const Active& each : actives) {
    if (each.type == nullptr || each.type->ref->target_profiles.empty()) {
      continue;
    }
    if (type != shapes::kNoType) {
      target_types(node, type, each);
    }
    if (literal != nullptr) {
      target_conforms(node, target, each);
    }
  }
}

void Walk::target_types(const json::Node& node, TypeId target, const Active& active) {
  const std::span<const shapes::ShapeRef> allowed = active.type->ref->target_profiles;
  for (const shapes::ShapeRef& each : allowed) {
    if (each.shape == nullptr || types().is_a(target, each.shape->type)) {
      return;
    }
  }
  report().add(Severity::kError, "structure", node, [&] {
    std::string text = "found a reference to " + std::string(types().info(target).name) + "; ";
    text += active.element->element->shape->is_profile
                ? std::string(active.element->element->shape->url)
                : std::string(active.element->element->shape->name);
    text += " allows";
    for (std::size_t i = 0; i < allowed.size(); ++i) {
      text += (i == 0 ? " " : ", ") + std::string(types().info(allowed[i].shape->type).name);
    }
    return text;
  });
}

void Walk::target_conforms(const json::Node& node, const Target& target, const Active& active) {
  const shapes::TypeRef& ref = *active.type->ref;
  if (ref.aggregation != 0) {
    const auto bit = [&](shapes::Aggregation a) {
      return (ref.aggregation & static_cast<std::uint8_t>(a)) != 0;
    };
    const bool fine = target.contained ? bit(shapes::Aggregation::kContained)
                      : target.bundled ? bit(shapes::Aggregation::kBundled) ||
                                             bit(shapes::Aggregation::kReferenced)
                                       : bit(shapes::Aggregation::kReferenced);
    if (!fine) {
      report().add(Severity::kError, "structure", node, [&] {
        return "the target is " +
               std::string(target.contained ? "contained"
                           : target.bundled ? "in the same Bundle"
                                            : "elsewhere") +
               "; " + std::string(active.element->element->shape->url) + " allows it only" +
               (bit(shapes::Aggregation::kContained) ? " contained" : "") +
               (bit(shapes::Aggregation::kBundled) ? " in the same Bundle" : "") +
               (bit(shapes::Aggregation::kReferenced) ? " by reference" : "");
      });
    }
  }
  if (target.resource == nullptr) {
    return;
  }
  const TypeId type = type_of_resource(*target.resource);
  bool constrained = false;
  for (const shapes::ShapeRef& each : ref.target_profiles) {
    if (each.shape == nullptr || (!each.shape->is_profile && type != shapes::kNoType &&
                                  types().is_a(type, each.shape->type))) {
      return;  // the type alone is enough, or it cannot be told
    }
    constrained = constrained || types().is_a(type, each.shape->type);
  }
  if (!constrained) {
    return;  // said by the check of types
  }
  const ResourceFrame* here = frame_;
  for (const shapes::ShapeRef& each : ref.target_profiles) {
    if (types().is_a(type, each.shape->type) &&
        conforms(target.resource, nullptr, type, checker_.plans.of(*each.shape))) {
      frame_ = here;
      return;
    }
  }
  report().add(Severity::kError, "structure", node, [&] {
    std::string text = "the target meets none of the profiles allowed here:";
    for (const shapes::ShapeRef& each : ref.target_profiles) {
      text += " " + std::string(each.canonical);
    }
    return text;
  });
}

}  // namespace engine::check

// Walk: which profiles apply to a resource besides its type: those it claims, those the caller or
// an implementation guide asks for, and R4's vital-sign profiles by the LOINC code.

#include <algorithm>

#include "engine/check/compare.h"
#include "engine/check/walk.h"
#include "engine/fhir/reference.h"

namespace engine::check {

using shapes::TypeId;

void Walk::activate(const json::Node& at, const shapes::Shape& shape, TypeId type,
                    ActiveList& actives, std::string_view why) {
  if (!types().is_a(type, shape.type)) {
    report().add(Severity::kError, "structure", at, [&] {
      return "the profile " + std::string(shape.url) + " (" + std::string(why) + ") is for " +
             std::string(types().info(shape.type).name) + "; this is " +
             std::string(types().info(type).name);
    });
    return;
  }
  for (const Active& each : actives.span()) {
    if (each.inner == nullptr || !each.inner->element->is_root) {
      continue;
    }
    for (const shapes::Shape* have = each.inner->element->shape; have != nullptr;
         have = have->base) {
      if (have == &shape) {
        return;
      }
    }
  }
  const ElementPlan& plan = checker_.plans.of(shape);
  actives.push({&plan, nullptr, &plan});
  if (told_ != nullptr) {
    told_->push_back({&shape, why});
  }
}

std::vector<InForce> Walk::in_force(const json::Node& node) {
  std::vector<InForce> list;
  const TypeId type = type_of_resource(node);
  if (type == shapes::kNoType) {
    return list;
  }
  ActiveList actives;
  told_ = &list;
  claims(node, type, actives);
  global_profiles(node, type, actives);
  requested(node, type, actives);
  told_ = nullptr;
  const shapes::Shape* own = checker_.catalog.base_shape(type);
  if (list.empty() && own != nullptr) {
    list.push_back({own, "the type of the resource"});
  }
  return list;
}

// A claim of "url|0.2" also means the versions 0.2.x when there is no 0.2.
const shapes::Shape* Walk::claimed_shape(std::string_view canonical) const {
  const shapes::Shape* exact = checker_.catalog.find_shape(canonical);
  const fhir::Canonical parts = fhir::parse_canonical(canonical);
  if (exact != nullptr || parts.version.empty()) {
    return exact;
  }
  const std::string prefix = std::string(parts.version) + ".";
  const shapes::Shape* latest = nullptr;
  for (const shapes::Shape* each : checker_.catalog.shapes()) {
    if (each->url == parts.url && each->version.starts_with(prefix)) {
      latest = each;
    }
  }
  return latest;
}

void Walk::claims(const json::Node& node, TypeId type, ActiveList& actives) {
  const json::Node* meta = node.find(words().meta_name);
  const json::Node* list = meta != nullptr ? meta->find(words().profile) : nullptr;
  if (list != nullptr && list->is_array()) {
    for (const json::Node& claim : *list) {
      if (!claim.is_string() || claim.length == 0) {
        continue;
      }
      const shapes::Shape* shape = claimed_shape(claim.text());
      if (shape != nullptr) {
        activate(node, *shape, type, actives, "claimed in meta.profile");
      } else {
        report().add(Severity::kWarning, "not-found", claim, [&] {
          return "the profile " + shown(claim) +
                 " is not loaded, so this claim is not checked; add its package";
        });
      }
    }
  }
  if (type != words().observation || checker_.vital_signs.empty()) {
    return;
  }
  const json::Node* code = node.find(words().code);
  const json::Node* codings = code != nullptr ? code->find(words().coding_name) : nullptr;
  if (codings == nullptr || !codings->is_array()) {
    return;
  }
  for (const json::Node& coding_node : *codings) {
    const json::Node* system = coding_node.find(words().system);
    const json::Node* value = coding_node.find(words().code);
    if (system == nullptr || value == nullptr || system->text() != "http://loinc.org") {
      continue;
    }
    const auto found = std::lower_bound(
        checker_.vital_signs.begin(), checker_.vital_signs.end(), value->text(),
        [](const VitalSign& row, std::string_view loinc) { return row.loinc < loinc; });
    if (found != checker_.vital_signs.end() && found->loinc == value->text()) {
      activate(node, *found->shape, type, actives, "asked for by the LOINC code");
    }
  }
}

// An implementation guide at hand may ask a profile of every resource of a type.
void Walk::global_profiles(const json::Node& node, TypeId type, ActiveList& actives) {
  for (const json::Node* other : options_.others) {
    if (other->string_at("resourceType") != "ImplementationGuide") {
      continue;
    }
    const json::Node* list = other->find("global");
    if (list == nullptr) {
      continue;
    }
    for (const json::Node& each : *list) {
      if (each.string_at("type") != types().info(type).name) {
        continue;
      }
      const shapes::Shape* shape = checker_.catalog.find_shape(each.string_at("profile"));
      if (shape != nullptr) {
        activate(node, *shape, type, actives, "asked for by an implementation guide");
      }
    }
  }
}

void Walk::requested(const json::Node& node, TypeId type, ActiveList& actives) {
  for (const std::string_view canonical : options_.profiles) {
    const shapes::Shape* shape = checker_.catalog.find_shape(canonical);
    if (shape != nullptr) {
      activate(node, *shape, type, actives, "asked for by the caller");
      continue;
    }
    // A definition that came along and could not be used is no fault of the resource.
    const bool defective =
        std::any_of(options_.others.begin(), options_.others.end(), [&](const json::Node* other) {
          return other->string_at("url") == fhir::parse_canonical(canonical).url;
        });
    report().add(defective ? Severity::kWarning : Severity::kError, "not-found", node, [&] {
      return "the profile " + shown(canonical) +
             (defective ? " is asked for but its definition is defective, so it is not checked"
                        : " is asked for but not loaded; add its package");
    });
  }
}

}  // namespace engine::check

#include "engine/check/walk.h"

#include <algorithm>
#include <cstddef>
#include <memory>

#include "engine/base/limits.h"
#include "engine/check/compare.h"
#include "engine/check/place.h"
#include "engine/fhir/reference.h"

namespace engine::check {

using shapes::Member;
using shapes::ShapeElement;
using shapes::TypeId;

namespace {

std::string times(std::uint32_t n) {
  return n == 1 ? "once" : std::to_string(n) + " times";
}

// "Observation" or "profile Blood Pressure": who asks.
std::string asker(const ShapeElement& element) {
  const shapes::Shape& shape = *element.shape;
  return shape.is_profile ? "profile " + std::string(shape.url) : std::string(shape.name);
}

}  // namespace

Walk::Walk(const Checker::State& checker, const Options& options, Scratch::State& scratch)
    : checker_(checker), options_(options), scratch_(scratch) {}

TypeId Walk::type_of_resource(const json::Node& resource) const {
  const TypeId type = checker_.rules.types().resource_type(resource);
  return type != shapes::kNoType && types().info(type).kind == shapes::TypeKind::kResource
             ? type
             : shapes::kNoType;
}

void Walk::run(const json::Node& root) {
  resource(root, words().resource, {}, nullptr, false);
}

void Walk::resource(const json::Node& node, TypeId declared, Actives asked, const json::Node* entry,
                    bool contained) {
  if (!node.is_object()) {
    report().add(Severity::kError, "structure", node, [&] {
      return "found " + shown(node) + "; a resource is a JSON object with a resourceType";
    });
    return;
  }
  const TypeId type = type_of_resource(node);
  if (type == shapes::kNoType || types().info(type).abstract) {
    report().add(Severity::kError, "structure", node, [&] {
      const json::Node* name = node.find(words().resource_type);
      if (name == nullptr) {
        return std::string("resourceType is missing; a resource names its type");
      }
      NearestName nearest(name->text());
      for (std::size_t i = 0; i < types().size(); ++i) {
        const shapes::TypeInfo& info = types().info(static_cast<TypeId>(i));
        if (info.kind == shapes::TypeKind::kResource && !info.abstract) {
          nearest.offer(info.name);
        }
      }
      std::string text = "resourceType " + shown(*name) + " is no resource of FHIR R4";
      return nearest.best().empty() ? text
                                    : text + "; did you mean " + std::string(nearest.best()) + "?";
    });
    return;
  }
  if (declared != shapes::kNoType && !types().is_a(type, declared)) {
    report().add(Severity::kError, "structure", node, [&] {
      return "found a " + std::string(types().info(type).name) + "; only " +
             std::string(types().info(declared).name) + " may stand here";
    });
  }
  const ResourceFrame here{&node, type, frame_, entry, contained};
  frame_ = &here;
  ActiveList actives;
  for (const Active& each : asked) {
    actives.push(each);
  }
  claims(node, type, actives);
  global_profiles(node, type, actives);
  if (here.outer == nullptr) {
    requested(node, type, actives);
  }
  bool covered = false;
  for (const Active& each : actives.span()) {
    covered = covered || (each.inner != nullptr && each.inner->element->shape->type == type &&
                          each.inner->element->is_root);
  }
  if (!covered) {
    const ElementPlan* base = checker_.plans.base(type);
    if (base != nullptr) {
      actives.push({base, nullptr, base});
    }
  }
  object(node, type, actives.span(), false);
  if (type == words().bundle) {
    bundle(node);
  }
  if (!contained) {
    contained_ids(node);
  }
  frame_ = here.outer;
}

void Walk::object(const json::Node& node, TypeId type, Actives actives, bool is_companion) {
  constexpr std::size_t kInline = 64;
  const shapes::TypeInfo& info = types().info(type);
  const std::size_t count = info.elements.size();
  // Unset storage: most types have far fewer elements than the largest.
  alignas(Slot) std::array<std::byte, kInline * sizeof(Slot)> room;
  Slot* const few = reinterpret_cast<Slot*>(room.data());
  std::vector<Slot> many;
  if (count > kInline) {
    many.resize(count);
  } else {
    std::uninitialized_default_construct_n(few, count);
  }
  const std::span<Slot> slots = count > kInline ? std::span<Slot>(many) : std::span(few, count);
  if (node.count == 0) {
    report().add(Severity::kError, "structure", node, [] {
      return std::string("an empty object says nothing; leave the property out");
    });
    return;
  }
  collect(node, type, slots, is_companion);
  if (settled()) {
    return;
  }
  for (std::size_t i = 0; i < count; ++i) {
    if (slots[i].member != nullptr) {
      element(node, info.elements[i], i, slots[i], actives);
      if (settled()) {
        return;
      }
    }
  }
  missing(node, slots, type, actives);
  const bool only_id = node.count == 1 && node.first->name == words().id;
  if (only_id && !is_companion && info.kind != shapes::TypeKind::kResource) {
    report().add(
        Severity::kError, "invariant", node,
        [] {
          return std::string("an id alone is no content; give a value, children or an extension");
        },
        "ele-1");
  }
  if (is_companion) {
    return;
  }
  const Subject subject{&node, nullptr, type, slots, this};
  rules(subject, checker_.plans.of(type).rules);
  // What an element says of a resource in it is said from outside (walk_elements.cc).
  const bool is_resource = info.kind == shapes::TypeKind::kResource;
  for (const Active& each : actives) {
    if (!is_resource || each.element->element->is_root) {
      rules(subject, each.element->rules);
    }
  }
}

void Walk::collect(const json::Node& node, TypeId type, std::span<Slot> slots, bool is_companion) {
  const bool is_resource = types().info(type).kind == shapes::TypeKind::kResource;
  for (const json::Node& child : node) {
    const Member* member = types().member(type, child.name);
    if (member == nullptr) {
      if (!is_resource || child.name != words().resource_type) {
        unknown_member(node, child, type);
      } else if (node.find(words().resource_type) != &child) {
        twice(node, child);
      }
      continue;
    }
    Slot& slot = slots[member->element];
    if (slot.member != nullptr && slot.member != member) {
      const Member* other = slot.member;
      report().add(
          Severity::kError, "structure", node,
          [&] {
            return "found both " + std::string(other->name->text) + " and " +
                   std::string(child.name->text) + "; " +
                   std::string(types().info(type).elements[member->element].stem->text) +
                   "[x] has one type at a time, so leave one out";
          },
          {}, &child);
      continue;
    }
    slot.member = member;
    const json::Node*& place = child.name == member->companion ? slot.companion : slot.value;
    if (place == nullptr) {
      place = &child;
    } else {
      twice(node, child);
    }
  }
  if (is_companion) {
    return;
  }
  const json::Node* wrong = is_resource ? node.find(words().resource_type) : nullptr;
  if (wrong != nullptr && !wrong->is_string()) {
    report().add(Severity::kError, "structure", node,
                 [&] { return "resourceType is " + shown(*wrong) + "; it is a text"; });
  }
}

void Walk::twice(const json::Node& object, const json::Node& member) {
  report().add(
      Severity::kError, "structure", object,
      [&] {
        return "the property " + shown(member.name->text) +
               " is there twice; which one holds is anybody's guess, so remove one";
      },
      {}, &member);
}

void Walk::unknown_member(const json::Node& object, const json::Node& member, TypeId type) {
  report().add(
      Severity::kError, "structure", object,
      [&] {
        const shapes::TypeInfo& info = types().info(type);
        NearestName nearest(member.name->text);
        std::string_view form;
        for (const shapes::Element& each : info.elements) {
          if (each.choice && each.stem->text == member.name->text) {
            form = each.members.empty() ? std::string_view() : each.members.front().name->text;
          }
          for (const Member& known : each.members) {
            nearest.offer(known.name->text);
          }
        }
        std::string text = "the property " + shown(member.name->text) + " does not exist in " +
                           std::string(info.name);
        if (!form.empty()) {
          return text + "; write it with its type, such as " + std::string(form);
        }
        if (member.name->text.starts_with('_')) {
          for (const shapes::Element& each : info.elements) {
            for (const Member& known : each.members) {
              if (known.name->text == member.name->text.substr(1)) {
                return text + "; " + std::string(known.name->text) +
                       " is no primitive, so its id and extensions stand inside it";
              }
            }
          }
        }
        if (!nearest.best().empty()) {
          return text + "; did you mean " + std::string(nearest.best()) + "?";
        }
        const json::Node* up = object.parent;
        while (up != nullptr && up->is_array()) {
          up = up->parent;
        }
        if (up != nullptr && frame_ != nullptr && up == frame_->resource &&
            types().member(frame_->type, member.name) != nullptr) {
          return text + "; it belongs one level up, in " +
                 std::string(types().info(frame_->type).name);
        }
        return text + "; remove it or use an extension";
      },
      {}, &member);
}

void Walk::missing(const json::Node& object, std::span<const Slot> slots, TypeId type,
                   Actives actives) {
  const auto look = [&](const ElementPlan* inner) {
    for (const std::uint16_t index : inner->required) {
      const ElementPlan* constraint = inner->child(index);
      if (constraint == nullptr || (index < slots.size() && slots[index].exists())) {
        continue;
      }
      const ElementPlan& child = *constraint;
      if (child.element->min > 0) {
        report().add(Severity::kError, "required", object, [&] {
          const shapes::Element& info = types().info(type).elements[index];
          return std::string(info.stem->text) + (info.choice ? "[x]" : "") + " is missing; " +
                 asker(*child.element) + " needs it at least " + times(child.element->min);
        });
        continue;
      }
      for (const ElementPlan* slice : child.slices) {
        if (slice->element->min > 0) {
          report().add(Severity::kError, "required", object, [&] {
            return std::string(slice->element->stem->text) + " of the kind " +
                   shown(slice->element->slice_name) + " is missing; " + asker(*slice->element) +
                   " needs it at least " + times(slice->element->min);
          });
        }
      }
    }
  };
  for (const Active& each : actives) {
    for (const ElementPlan* inner : {each.inner, each.common()}) {
      if (inner != nullptr) {
        look(inner);
      }
    }
  }
}

void Walk::number(const json::Node& object, const shapes::Element& info, const Slot& slot,
                  const ElementPlan& child) {
  const ShapeElement& element = *child.element;
  std::uint32_t count = 1;
  if (info.repeats) {
    const std::uint32_t values =
        slot.value != nullptr && slot.value->is_array() ? slot.value->count : 1;
    const std::uint32_t companions =
        slot.companion != nullptr && slot.companion->is_array() ? slot.companion->count : 0;
    count = std::max(slot.value != nullptr ? values : 0, companions);
  }
  if (count > element.max) {
    report().add(
        Severity::kError, "structure", object,
        [&] {
          const std::string name(element.stem->text);
          return element.max == 0 ? name + " is not allowed; " + asker(element) + " excludes it"
                                  : name + " is there " + times(count) + "; " + asker(element) +
                                        " allows it " + times(element.max);
        },
        {}, slot.value != nullptr ? slot.value : slot.companion);
  } else if (count < element.min) {
    report().add(Severity::kError, "required", object, [&] {
      return std::string(element.stem->text) + " is there " + times(count) + "; " + asker(element) +
             " needs it at least " + times(element.min);
    });
  }
}

void Walk::element(const json::Node& object, const shapes::Element& info, std::size_t index,
                   const Slot& slot, Actives actives) {
  const std::size_t choice = static_cast<std::size_t>(slot.member - info.members.data());
  Candidates candidates;
  const auto consider = [&](const ElementPlan& inner) {
    const ElementPlan* child = inner.child(index);
    if (child == nullptr) {
      return;
    }
    // Of what is there once, only this can be wrong.
    if (info.repeats || child->element->max == 0 || child->element->min > 1) {
      number(object, info, slot, *child);
    }
    const shapes::TypeRef* ref = child->element->type_of(choice);
    if (ref == nullptr) {
      if (info.choice && child->element->max > 0) {
        report().add(
            Severity::kError, "structure", object,
            [&] {
              std::string allowed;
              for (const shapes::TypeRef& type : child->element->types) {
                allowed +=
                    (allowed.empty() ? "" : ", ") + std::string(types().info(type.type).name);
              }
              return std::string(slot.member->name->text) + " is not allowed; " +
                     asker(*child->element) + " takes " + std::string(info.stem->text) + "[x] as " +
                     allowed;
            },
            {}, slot.value != nullptr ? slot.value : slot.companion);
      }
      return;
    }
    const TypePlan* type = child->type_plan(ref);
    candidates.sliced = candidates.sliced || child->sliced;
    candidates.profiled = candidates.profiled || !ref->profiles.empty();
    candidates.list.push({child, type, checker_.plans.inner(*type)});
  };
  for (const Active& each : actives) {
    if (each.inner != nullptr) {
      consider(*each.inner);
    }
    if (const ElementPlan* common = each.common()) {
      consider(*common);
    }
  }
  items(object, info, slot, candidates);
}

}  // namespace engine::check

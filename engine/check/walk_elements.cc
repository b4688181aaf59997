// Walk: the values of one element, from the JSON form down to each value with its constraints.

#include "engine/check/compare.h"
#include "engine/check/walk.h"

namespace engine::check {

using shapes::TypeId;

bool Walk::wrong_form(const json::Node& node, const shapes::Element& info) {
  report().add(Severity::kError, "structure", node, [&] {
    const std::string name(node.name->text);
    return info.repeats ? name + " repeats, so it is an array even for one value"
                        : name + " has one value, so it is no array";
  });
  return false;
}

void Walk::items(const json::Node& object, const shapes::Element& info, const Slot& slot,
                 const Candidates& candidates) {
  const bool well = has_form(slot.value, info);
  if (!has_form(slot.companion, info) || !well) {
    return;
  }
  if (!info.repeats && !candidates.sliced) {
    unsliced(slot.value, slot.companion, *slot.member, candidates, object);
    return;
  }
  if (!candidates.sliced && slot.companion == nullptr && slot.value->count > 0) {
    for (const json::Node* each = slot.value->first; each != nullptr && !settled();
         each = each->next) {
      unsliced(each, nullptr, *slot.member, candidates, object);
    }
    return;
  }
  ShortList<SliceItem> list;
  if (!info.repeats) {
    list.push({slot.value, slot.companion, 0});
  } else {
    const json::Node* value_item = slot.value != nullptr ? slot.value->first : nullptr;
    const json::Node* companion_item = slot.companion != nullptr ? slot.companion->first : nullptr;
    for (const json::Node* array : {slot.value, slot.companion}) {
      if (array != nullptr && array->count == 0) {
        report().add(Severity::kError, "invalid", *array, [] {
          return std::string("an empty array says nothing; leave the property out");
        });
      }
    }
    if (slot.value != nullptr && slot.companion != nullptr &&
        slot.value->count != slot.companion->count) {
      report().add(Severity::kError, "structure", *slot.companion, [&] {
        return "found " + std::to_string(slot.companion->count) + " items beside " +
               std::to_string(slot.value->count) +
               " values; the two arrays have the same length, null fills the gaps";
      });
    }
    for (std::uint32_t i = 0; value_item != nullptr || companion_item != nullptr; ++i) {
      list.push({value_item, companion_item, i});
      value_item = value_item != nullptr ? value_item->next : nullptr;
      companion_item = companion_item != nullptr ? companion_item->next : nullptr;
    }
  }
  Assignments assignments;
  for (const Active& each : candidates.list.span()) {
    if (each.element->sliced) {
      sort_into_slices(object, list.span(), *each.element, slot.member->type, assignments);
    }
  }
  const std::size_t choice = static_cast<std::size_t>(slot.member - info.members.data());
  for (const SliceItem& item : list.span()) {
    value(item, *slot.member, choice, candidates.list.span(), assignments.span(), object);
    if (settled()) {
      return;
    }
  }
}

void Walk::add_profiles(const SliceItem& item, TypeId type, ActiveList& actives) {
  const std::size_t before = actives.size();
  for (std::size_t i = 0; i < before; ++i) {
    const Active each = actives.span()[i];
    if (each.type == nullptr || each.type->ref->profiles.empty()) {
      continue;
    }
    const std::span<const shapes::ShapeRef> profiles = each.type->ref->profiles;
    const json::Node& at = item.node != nullptr ? *item.node : *item.companion;
    if (profiles.size() == 1) {
      const shapes::Shape* shape = profiles.front().shape;
      if (shape == nullptr) {
        report().add(Severity::kInformation, "not-found", at, [&] {
          return "the profile " + shown(profiles.front().canonical) +
                 " is not loaded, so it is not checked here";
        });
      } else if (shape != each.element->element->shape || !each.element->element->is_root) {
        const ElementPlan& plan = checker_.plans.of(*shape);
        actives.push({&plan, nullptr, &plan});
      }
      continue;
    }
    bool met = false;
    bool known = true;
    for (const shapes::ShapeRef& profile : profiles) {
      known = known && profile.shape != nullptr;
      met = met || (profile.shape != nullptr &&
                    conforms(item.node, item.companion, type, checker_.plans.of(*profile.shape)));
    }
    if (!met && known) {
      report().add(Severity::kError, "structure", at, [&] {
        std::string text = "meets none of the profiles allowed here:";
        for (const shapes::ShapeRef& profile : profiles) {
          text += " " + std::string(profile.canonical);
        }
        return text;
      });
    }
  }
}

void Walk::value(const SliceItem& item, const shapes::Member& member, std::size_t choice,
                 Actives candidates, std::span<const Assignment> assignments,
                 const json::Node& object_node) {
  ActiveList actives;
  for (const Active& each : candidates) {
    actives.push(each);
  }
  for (const Assignment& each : assignments) {
    if (each.item != item.index) {
      continue;
    }
    const shapes::TypeRef* ref = each.slice->element->type_of(choice);
    if (ref != nullptr) {
      const TypePlan* type = each.slice->type_plan(ref);
      actives.push({each.slice, type, checker_.plans.inner(*type)});
    }
  }
  typed_value(item, member, actives, object_node);
}

void Walk::unsliced(const json::Node* node, const json::Node* companion,
                    const shapes::Member& member, const Candidates& candidates,
                    const json::Node& object_node) {
  const SliceItem item{node, companion, 0};
  if (!candidates.profiled && member.type != words().extension) {
    checked_value(item, member, candidates.list.span(), object_node);
    return;
  }
  ActiveList actives;
  for (const Active& each : candidates.list.span()) {
    actives.push(each);
  }
  typed_value(item, member, actives, object_node);
}

void Walk::typed_value(const SliceItem& item, const shapes::Member& member, ActiveList& actives,
                       const json::Node& object_node) {
  add_profiles(item, member.type, actives);
  if (member.type == words().extension && item.node != nullptr && item.node->is_object()) {
    extension_shape(*item.node, object_node, actives);
  }
  checked_value(item, member, actives.span(), object_node);
}

void Walk::checked_value(const SliceItem& item, const shapes::Member& member, Actives actives,
                         const json::Node& object_node) {
  const shapes::TypeInfo& info = types().info(member.type);
  if (info.kind == shapes::TypeKind::kPrimitive || info.kind == shapes::TypeKind::kSystem) {
    primitive(item.node, item.companion, member.type, actives, object_node);
    return;
  }
  if (item.node == nullptr) {
    return;  // a companion of something that is no primitive is an unknown property
  }
  const json::Node& node = *item.node;
  if (info.kind == shapes::TypeKind::kResource) {
    resource(
        node, member.type, actives,
        object_node.parent != nullptr && frame_->type == words().bundle ? &object_node : nullptr,
        member.name == words().contained);
    const TypeId actual = type_of_resource(node);
    if (actual != shapes::kNoType) {
      const Subject subject{&node, nullptr, actual, {}, this};
      for (const Active& each : actives) {
        if (!each.element->element->is_root) {
          rules(subject, each.element->rules);
        }
      }
    }
    return;
  }
  if (!node.is_object()) {
    report().add(Severity::kError, "structure", node, [&] {
      return "found " + shown(node) + "; " + std::string(info.name) + " is an object";
    });
    return;
  }
  object(node, member.type, actives, false);
  for (const Active& each : actives) {
    if (!each.element->plain) {
      fixed_and_pattern(node, *each.element->element);
      limits(node, member.type, *each.element->element);
      binding(node, member.type, *each.element->element);
    }
  }
  if (types().is_a(member.type, words().reference)) {
    reference(node, actives);
  } else if (member.type == words().coding) {
    coding(node);
  } else if (member.type == words().attachment) {
    attachment(node);
  }
}

bool Walk::conforms(const json::Node* node, const json::Node* companion, TypeId type,
                    const ElementPlan& plan) {
  const json::Node* subject = node != nullptr ? node : companion;
  for (const auto& each : scratch_.asking) {
    if (each.first == subject && each.second == &plan) {
      return true;  // the question is its own answer: nothing contradicts it
    }
  }
  if (scratch_.asking.size() >= base::limits::kSpeculationDepthMax) {
    return true;
  }
  scratch_.asking.emplace_back(subject, &plan);
  const Report::Mark mark = report().hush();
  const shapes::TypeInfo& info = types().info(type);
  Active active{&plan, nullptr, plan.element->is_root ? &plan : nullptr};
  for (const TypePlan& each : plan.types) {
    if (!plan.element->is_root && each.ref->type == type) {
      active.type = &each;
      active.inner = checker_.plans.inner(each);
    }
  }
  ActiveList actives;
  actives.push(active);
  const SliceItem item{node, companion, 0};
  add_profiles(item, type, actives);
  if (info.kind == shapes::TypeKind::kResource) {
    resource(*node, words().resource, actives.span(), nullptr, false);
  } else if (info.kind == shapes::TypeKind::kPrimitive || info.kind == shapes::TypeKind::kSystem) {
    primitive(node, companion, type, actives.span(), *subject);
  } else if (node == nullptr || !node->is_object()) {
    report().add(Severity::kError, "structure", *subject, [] { return std::string(); });
  } else {
    object(*node, type, actives.span(), false);
    for (const Active& each : actives.span()) {
      fixed_and_pattern(*node, *each.element->element);
      limits(*node, type, *each.element->element);
      binding(*node, type, *each.element->element);
    }
    if (type == words().reference) {
      reference(*node, actives.span());
    }
  }
  scratch_.asking.pop_back();
  return report().resume(mark);
}

}  // namespace engine::check

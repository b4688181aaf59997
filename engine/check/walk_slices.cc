// Walk: slicing. Source: FHIR R4 profiling.html (slicing, discriminators),
// ElementDefinition.slicing.

#include <algorithm>

#include "engine/check/compare.h"
#include "engine/check/walk.h"

namespace engine::check {

using shapes::Slice;
using shapes::SliceTest;
using shapes::Slicing;
using shapes::TypeId;

void Walk::ambiguous(const SliceItem& item, const ElementPlan& plan, std::size_t one,
                     std::size_t other) {
  const json::Node& at = item.node != nullptr ? *item.node : *item.companion;
  const Slicing& slicing = *plan.element->slicing;
  report().add(Severity::kError, "invalid", at, [&] {
    return "this " + std::string(plan.element->stem->text) + " is both " +
           std::string(slicing.slices[one].element->slice_name) + " and " +
           std::string(slicing.slices[other].element->slice_name) + " of " +
           std::string(plan.element->shape->url) + ", which tells them not apart";
  });
}

void Walk::of_no_slice(const SliceItem& item, const ElementPlan& plan) {
  const json::Node& at = item.node != nullptr ? *item.node : *item.companion;
  report().add(Severity::kError, "structure", at, [&] {
    std::string names;
    for (const Slice& each : plan.element->slicing->slices) {
      names += (names.empty() ? "" : ", ") + std::string(each.element->slice_name);
    }
    return "this " + std::string(plan.element->stem->text) + " is of none of the kinds that " +
           std::string(plan.element->shape->url) + " allows here: " + names;
  });
}

void Walk::sort_into_slices(const json::Node& object_node, std::span<const SliceItem> list,
                            const ElementPlan& plan, TypeId type, Assignments& out) {
  const Slicing& slicing = *plan.element->slicing;
  constexpr std::size_t kInline = 32;
  std::array<std::uint32_t, kInline> few{};
  std::vector<std::uint32_t> many;
  const std::size_t slice_count = slicing.slices.size();
  if (slice_count > kInline) {
    many.resize(slice_count);
  }
  const std::span<std::uint32_t> counts =
      slice_count > kInline ? std::span<std::uint32_t>(many) : std::span(few.data(), slice_count);
  std::size_t furthest = 0;
  bool unmatched_before = false;
  for (const SliceItem& item : list) {
    std::size_t matched = slice_count;
    std::size_t second = slice_count;
    std::size_t others = slice_count;  // the slice for all the rest, when there is one
    for (std::size_t s = 0; s < slice_count; ++s) {
      if (slicing.slices[s].element->slice_name == "@default") {
        others = s;
      } else if (in_slice(item, type, slicing, slicing.slices[s], *plan.slices[s])) {
        (matched == slice_count ? matched : second) = s;
      }
    }
    if (second != slice_count) {
      ambiguous(item, plan, matched, second);
      continue;
    }
    if (matched == slice_count && others != slice_count) {
      ++counts[others];
      out.push({item.index, plan.slices[others]});
      continue;
    }
    if (matched == slice_count) {
      unmatched_before = true;
      if (slicing.rules == shapes::SlicingRules::kClosed) {
        of_no_slice(item, plan);
      }
      continue;
    }
    ++counts[matched];
    out.push({item.index, plan.slices[matched]});
    const json::Node& at = item.node != nullptr ? *item.node : *item.companion;
    if (slicing.rules == shapes::SlicingRules::kOpenAtEnd && unmatched_before) {
      report().add(Severity::kError, "structure", at, [&] {
        return "items of no named kind come last; " +
               std::string(slicing.slices[matched].element->slice_name) + " stands behind one";
      });
    }
    if (slicing.ordered && matched < furthest) {
      report().add(Severity::kError, "structure", at, [&] {
        return std::string(slicing.slices[matched].element->slice_name) + " comes before " +
               std::string(slicing.slices[furthest].element->slice_name) + " in " +
               std::string(plan.element->shape->url);
      });
    }
    furthest = std::max(furthest, matched);
  }
  count_slices(object_node, plan, counts);
  for (std::size_t s = 0; s < slice_count; ++s) {
    if (counts[s] == 0 || plan.slices[s]->element->slicing == nullptr) {
      continue;
    }
    ShortList<SliceItem> inside;
    for (const SliceItem& item : list) {
      for (const Assignment& each : out.span()) {
        if (each.item == item.index && each.slice == plan.slices[s]) {
          inside.push(item);
        }
      }
    }
    sort_into_slices(object_node, inside.span(), *plan.slices[s], type, out);
  }
}

void Walk::count_slices(const json::Node& object_node, const ElementPlan& plan,
                        std::span<const std::uint32_t> counts) {
  for (std::size_t s = 0; s < counts.size(); ++s) {
    const shapes::ShapeElement& slice = *plan.slices[s]->element;
    if (counts[s] >= slice.min && counts[s] <= slice.max) {
      continue;
    }
    const bool few = counts[s] < slice.min;
    report().add(Severity::kError, few ? "required" : "structure", object_node, [&] {
      const std::uint32_t bound = few ? slice.min : slice.max;
      return std::string(slice.stem->text) + " of the kind " + shown(slice.slice_name) +
             " is there " + std::to_string(counts[s]) + " times; " + std::string(slice.shape->url) +
             (few ? " needs it at least " : " allows it at most ") + std::to_string(bound) +
             (bound == 1 ? " time" : " times");
    });
  }
}

bool Walk::in_slice(const SliceItem& item, TypeId type, const Slicing& slicing, const Slice& slice,
                    const ElementPlan& slice_plan) {
  if (slicing.by_url) {
    const json::Node* url = item.node != nullptr ? item.node->find(words().url) : nullptr;
    return url != nullptr && url->text() == slice.extension_url;
  }
  if (slicing.by_type) {
    TypeId actual = type;
    if (item.node != nullptr && types().info(type).kind == shapes::TypeKind::kResource) {
      actual = type_of_resource(*item.node);
    }
    for (const shapes::TypeRef& each : slice.element->types) {
      if (actual != shapes::kNoType && types().is_a(actual, each.type)) {
        return true;
      }
    }
    return false;
  }
  if (slicing.discriminators.empty()) {
    return conforms(item.node, item.companion, type, slice_plan);
  }
  std::size_t from = 0;
  for (std::size_t d = 0; d < slicing.discriminators.size(); ++d) {
    std::size_t to = from;
    while (to < slice.tests.size() && slice.tests[to].discriminator == d) {
      ++to;
    }
    if (!passes(item, type, slicing.discriminators[d], slice.tests.subspan(from, to - from))) {
      return false;
    }
    from = to;
  }
  return true;
}

bool Walk::passes(const SliceItem& item, TypeId type, const shapes::Discriminator& discriminator,
                  std::span<const SliceTest> tests) {
  Found start{item.node, item.companion, type};
  if (item.node != nullptr && types().info(type).kind == shapes::TypeKind::kResource) {
    start.type = type_of_resource(*item.node);
  }
  ShortList<Found> found;
  follow(start, discriminator.steps, found);
  for (const SliceTest& each : tests) {
    if (each.kind == SliceTest::Kind::kExists || each.kind == SliceTest::Kind::kAbsent) {
      if ((found.size() > 0) == (each.kind == SliceTest::Kind::kExists)) {
        return true;
      }
      continue;
    }
    for (const Found& one : found.span()) {
      if (test(one, each)) {
        return true;
      }
    }
  }
  return false;
}

void Walk::follow(const Found& from, std::span<const shapes::PathStep> steps,
                  ShortList<Found>& out) {
  if (from.type == shapes::kNoType) {
    return;
  }
  if (steps.empty()) {
    out.push(from);
    return;
  }
  using Kind = shapes::PathStep::Kind;
  const shapes::PathStep& step = steps.front();
  const std::span<const shapes::PathStep> rest = steps.subspan(1);
  if (step.kind == Kind::kOfType) {
    if (types().is_a(from.type, step.type)) {
      follow(from, rest, out);
    }
    return;
  }
  if (step.kind == Kind::kResolve) {
    const json::Node* literal = from.node;
    if (literal != nullptr && literal->is_object()) {
      literal = literal->find(words().reference_name);
    }
    const Target target =
        literal != nullptr && literal->is_string() ? resolve(literal->text()) : Target{};
    if (target.resource != nullptr) {
      follow({target.resource, nullptr, type_of_resource(*target.resource)}, rest, out);
    }
    return;
  }
  const json::Node* holder =
      from.node != nullptr && from.node->is_object() ? from.node : from.companion;
  if (holder == nullptr) {
    return;
  }
  const TypeId holder_type = holder == from.companion ? words().element : from.type;
  for (const json::Node& child : *holder) {
    const shapes::Member* member = types().member(holder_type, child.name);
    if (member == nullptr) {
      continue;
    }
    const shapes::Element& info = types().info(holder_type).elements[member->element];
    const bool is_extension = step.kind == Kind::kExtension;
    if (is_extension ? member->type != words().extension : info.stem != step.stem) {
      continue;
    }
    const bool companion = child.name == member->companion;
    const json::Node* first = child.is_array() ? child.first : &child;
    for (const json::Node* one = first; one != nullptr;
         one = child.is_array() ? one->next : nullptr) {
      if (one->is_null()) {
        continue;
      }
      if (is_extension) {
        const json::Node* url = one->find(words().url);
        if (url == nullptr || url->text() != step.url) {
          continue;
        }
      }
      TypeId type = member->type;
      if (types().info(type).kind == shapes::TypeKind::kResource) {
        type = type_of_resource(*one);
      }
      follow({companion ? nullptr : one, companion ? one : nullptr, type}, rest, out);
    }
  }
}

bool Walk::test(const Found& found, const SliceTest& slice_test) {
  using Kind = SliceTest::Kind;
  switch (slice_test.kind) {
    case Kind::kFixed:
      return found.node != nullptr && equals_fixed(*found.node, *slice_test.value);
    case Kind::kPattern:
      return found.node != nullptr && matches_pattern(*found.node, *slice_test.value);
    case Kind::kBinding:
      return found.node != nullptr && slice_test.binding->value_set != nullptr &&
             member_of(*found.node, found.type, *slice_test.binding->value_set) ==
                 shapes::Membership::kIn;
    case Kind::kType:
      for (const shapes::TypeRef& type : slice_test.element->types) {
        if (types().is_a(found.type, type.type)) {
          return true;
        }
        for (const shapes::ShapeRef& target : type.target_profiles) {
          if (target.shape != nullptr && types().is_a(found.type, target.shape->type)) {
            return true;
          }
        }
      }
      return false;
    case Kind::kProfile:
      for (const shapes::TypeRef& type : slice_test.element->types) {
        const bool resolved = types().info(found.type).kind == shapes::TypeKind::kResource &&
                              type.type == words().reference;
        for (const shapes::ShapeRef& profile : resolved ? type.target_profiles : type.profiles) {
          if (profile.shape != nullptr && types().is_a(found.type, profile.shape->type) &&
              conforms(found.node, found.companion, found.type,
                       checker_.plans.of(*profile.shape))) {
            return true;
          }
        }
      }
      return false;
    case Kind::kConforms:
      return conforms(found.node, found.companion, found.type,
                      checker_.plans.of(*slice_test.element));
    case Kind::kExists:
    case Kind::kAbsent:
    case Kind::kUndecidable:
      return false;
  }
  return false;
}

}  // namespace engine::check

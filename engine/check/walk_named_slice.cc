// Walk: one value against one slice by its name, for FHIRPath's slice(). Source: FHIR R4
// fhirpath.html.

#include <string>

#include "engine/check/walk.h"
#include "engine/shapes/element_at.h"

namespace engine::check {

using shapes::ShapeElement;
using shapes::Slice;

namespace {

constexpr std::string_view kDefaultSlice = "@default";

const ShapeElement& sliced_at(const ShapeElement& slice) {
  const ShapeElement* element = &slice;
  while (element->sliced != nullptr) {
    element = element->sliced;
  }
  return *element;
}

}  // namespace

// In this slice, and in every slice that it is cut out of.
bool Walk::in_slice_chain(const SliceItem& item, shapes::TypeId type, const ShapeElement& slice) {
  const ShapeElement& of = *slice.sliced;
  if (of.sliced != nullptr && !in_slice_chain(item, type, of)) {
    return false;
  }
  const ElementPlan& plan = checker_.plans.of(of);
  const bool rest = slice.slice_name == kDefaultSlice;
  for (std::size_t s = 0; s < of.slicing->slices.size(); ++s) {
    const Slice& each = of.slicing->slices[s];
    if (rest ? each.element->slice_name != kDefaultSlice : each.element == &slice) {
      const bool in = in_slice(item, type, *of.slicing, each, *plan.slices[s]);
      if (in || !rest) {
        return in != rest;
      }
    }
  }
  return rest;
}

base::Result<bool> Walk::in_named_slice(const json::Node* value, const json::Node* companion,
                                        shapes::TypeId type, std::string_view profile,
                                        std::string_view slice) {
  const shapes::Shape* shape = checker_.catalog.find_shape(profile);
  if (shape == nullptr) {
    return base::Error(base::ErrorCode::kNotFound,
                       "the profile " + std::string(profile) + " is not loaded");
  }
  const json::Node& node = value != nullptr ? *value : *companion;
  const json::Node* resource = shapes::resource_around(&node);
  const ShapeElement* place =
      resource != nullptr ? shapes::element_at(checker_.catalog, *shape, *resource, node) : nullptr;
  const std::string path =
      place != nullptr ? shapes::without_slice_names(place->id) : std::string();
  bool known = false;
  for (const ShapeElement& each : shape->elements) {
    if (each.sliced == nullptr || each.slice_name != slice || sliced_at(each).slicing == nullptr) {
      continue;
    }
    known = true;
    if (place != nullptr && shapes::without_slice_names(each.id) == path &&
        in_slice_chain({value, companion, 0}, type, each)) {
      return true;
    }
  }
  if (!known) {
    return base::Error(
        base::ErrorCode::kNotFound,
        "the profile " + std::string(profile) + " has no slice named '" + std::string(slice) + "'");
  }
  return false;
}

}  // namespace engine::check

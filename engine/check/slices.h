#pragma once
// Which slices the items of one element belong to.

#include <cstdint>
#include <span>
#include <vector>

#include "engine/check/plan.h"
#include "engine/json/node.h"

namespace engine::check {

// One item of an element: its value, and the companion beside it when it is a primitive.
struct SliceItem {
  const json::Node* node = nullptr;
  const json::Node* companion = nullptr;
  std::uint32_t index = 0;
};

struct Assignment {
  std::uint32_t item = 0;
  const ElementPlan* slice = nullptr;
};

}  // namespace engine::check

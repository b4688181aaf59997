#pragma once
// Where in a resource a node stands, as FHIRPath for people and programs. Rendered only when
// something is reported, from the node's parents, so that walking a good resource builds no text.

#include <string>

#include "engine/json/node.h"
#include "engine/shapes/types.h"

namespace engine::check {

// "Observation.component[1].value" for a node below (or at) `root`; choices by their stem, items of
// repeating elements with their index, contained and bundled resources inline.
std::string place_of(const json::Node& node, const json::Node& root,
                     const shapes::TypeModel& types);

// The name closest to `wanted` among candidates offered one by one; empty when none is close.
class NearestName {
 public:
  explicit NearestName(std::string_view wanted) : wanted_(wanted) {}
  void offer(std::string_view candidate);
  std::string_view best() const { return best_; }

 private:
  std::string_view wanted_;
  std::string_view best_;
  std::size_t distance_ = 0;
};

}  // namespace engine::check

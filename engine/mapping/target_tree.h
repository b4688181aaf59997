#pragma once
// Writing the output tree by the rules of FHIR JSON: repeating elements are arrays, a primitive's
// id and extensions live in a companion member, arrays of both stay aligned with nulls. Also the
// tidying at the end: list modes, and what was created and never filled. Source: FHIR R4 JSON
// representation; StructureMap target list modes.

#include <unordered_map>
#include <vector>

#include "engine/json/document.h"
#include "engine/shapes/types.h"

namespace engine::mapping {

class TargetTree {
 public:
  explicit TargetTree(json::Document& document) : document_(document) {}

  json::Document& document() { return document_; }

  // Puts a node under a member: into the array of a repeating element, or as the value.
  // `companion`, when given, is put beside it. Both must belong to the document and hang nowhere
  // yet.
  void attach(json::Node& object, const shapes::Member& member, bool repeats, json::Node* node,
              json::Node* companion = nullptr);
  // The companion of a primitive that is attached under `member`; made when there is none.
  json::Node* companion_of(json::Node& primitive, const shapes::Member& member);
  // The same without making one; nullptr.
  static const json::Node* find_companion(const json::Node& primitive,
                                          const shapes::Member& member);

  // An element to be removed by tidy() when nothing was put into it.
  void watch(json::Node& node) { watched_.push_back(&node); }
  enum class End : std::uint8_t { kFirst, kLast };
  // Puts an array's item at one end when the tree is tidied. `claimant` names the rule; false when
  // another rule claims the same end of the same list.
  bool claim(json::Node& item, End end, const void* claimant);

  void tidy();

 private:
  // Which rule has each end of an array, and the items it put there.
  struct Claims {
    const void* first = nullptr;
    const void* last = nullptr;
    std::unordered_map<const json::Node*, End> items;
  };

  void reorder(json::Node& array, const Claims& claims);

  json::Document& document_;
  std::vector<json::Node*> watched_;
  std::unordered_map<json::Node*, Claims> claims_;  // by array
};

}  // namespace engine::mapping

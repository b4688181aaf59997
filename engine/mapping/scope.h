#pragma once
// The variables a rule sees while its map is compiled: name, slot and what is known of the type.
// Inner rules see the outer ones; a name defined again hides the earlier one for the rules below
// it. Source: FHIR mapping language, scope of variables.

#include <string>
#include <string_view>
#include <vector>

#include "engine/mapping/program.h"

namespace engine::mapping {

struct Variable {
  std::string name;
  Slot slot = kNoSlot;
  shapes::TypeId type = shapes::kNoType;
  bool is_target = false;
};

class Scope {
 public:
  const Variable* find(std::string_view name) const {
    for (auto at = variables_.rbegin(); at != variables_.rend(); ++at) {
      if (at->name == name) {
        return &*at;
      }
    }
    return nullptr;
  }
  Slot add(std::string name, shapes::TypeId type, bool is_target) {
    const Slot slot = new_slot();
    variables_.push_back({std::move(name), slot, type, is_target});
    return slot;
  }
  // A slot without a name.
  Slot new_slot() { return slot_count_++; }
  std::uint16_t slot_count() const { return slot_count_; }

  // Leaving a rule forgets its names; slots are not used again, so that no two rules share one.
  std::size_t mark() const { return variables_.size(); }
  void forget(std::size_t mark) { variables_.resize(mark); }
  const std::vector<Variable>& variables() const { return variables_; }

 private:
  std::vector<Variable> variables_;
  std::uint16_t slot_count_ = 0;
};

}  // namespace engine::mapping

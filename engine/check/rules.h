#pragma once
// Invariants made ready to run: the defective expressions of R4 are replaced (mends), the frequent
// ones run natively (a test holds each native form against its FHIRPath form), the others are
// compiled by FHIRPath the first time they are needed. Thread safe.

#include <array>
#include <atomic>
#include <memory>
#include <mutex>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

#include "engine/fhirpath/fhirpath.h"
#include "engine/json/node.h"
#include "engine/shapes/catalog.h"

namespace engine::check {

class Walk;

// What an object holds for one of its type's elements.
struct Slot {
  const json::Node* value = nullptr;      // an array when the element repeats
  const json::Node* companion = nullptr;  // "_name"
  const shapes::Member* member = nullptr;

  bool exists() const { return value != nullptr || companion != nullptr; }
};

// What a native rule looks at: a value, and its elements when it is an object.
struct Subject {
  const json::Node* value = nullptr;
  const json::Node* companion = nullptr;
  shapes::TypeId type = shapes::kNoType;
  std::span<const Slot> slots;
  Walk* walk = nullptr;
};

inline constexpr std::size_t kRuleElementsMax = 6;
using RuleElements = std::array<std::uint16_t, kRuleElementsMax>;
inline constexpr std::uint16_t kNoElement = 0xFFFF;

// A rule in C++. `stems` are the elements it reads; `elements` of holds() are their indexes.
struct NativeRule {
  std::string_view key;
  std::string_view expression;  // exactly that of the definition
  std::array<std::string_view, kRuleElementsMax> stems;
  // nullptr: the walk itself sees to it (ele-1, ext-1).
  bool (*holds)(const Subject& subject, const RuleElements& elements);
};
std::span<const NativeRule> native_rules();

// A published expression that misfires, and what is evaluated in its place.
struct Mend {
  std::string_view key;
  std::string_view published;
  std::string_view mended;
  std::string_view reason;
};
std::span<const Mend> mends();

// One invariant on one type, ready to run.
struct Rule {
  shapes::ConstraintId id = 0;
  const NativeRule* native = nullptr;
  RuleElements elements{};
};

class Rules {
 public:
  // native = false: every rule by FHIRPath, for comparison.
  Rules(const shapes::Catalog& catalog, bool native);

  const fhirpath::Types& types() const { return types_; }
  // The rules among `ids` that the walk must run on a value of `type`.
  std::vector<Rule> prepare(std::span<const shapes::ConstraintId> ids, shapes::TypeId type) const;
  // The compiled expression; nullptr when it does not compile (why_not() says so).
  const fhirpath::Expression* expression(shapes::ConstraintId id) const;
  std::string_view why_not(shapes::ConstraintId id) const;
  // Any other FHIRPath text of a definition (an extension's context), compiled and kept.
  // nullptr when it does not compile.
  const fhirpath::Expression* expression(std::string_view text) const;

 private:
  struct Compiled {
    std::optional<fhirpath::Expression> expression;
    std::string error;
  };
  const Compiled& compiled(shapes::ConstraintId id) const;
  std::unique_ptr<Compiled> compile(std::string_view text) const;

  const shapes::Catalog& catalog_;
  bool native_;
  fhirpath::Types types_;
  mutable std::mutex mutex_;
  mutable std::vector<std::atomic<const Compiled*>> by_id_;
  mutable std::vector<std::unique_ptr<Compiled>> owned_;
  mutable std::vector<std::pair<std::string_view, const Compiled*>> by_text_;
};

}  // namespace engine::check

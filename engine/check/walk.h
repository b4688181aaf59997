#pragma once
// One walk over one resource with all shapes that apply to it. Made for one call; not thread safe.
// Split over files by concern: walk.cc (resources, objects), walk_elements.cc, walk_profiles.cc,
// walk_values.cc (primitives, bindings, fixed values), walk_limits.cc, walk_slices.cc,
// walk_references.cc, walk_extensions.cc, walk_bundles.cc, walk_rules.cc (invariants).

#include <array>
#include <memory>
#include <span>
#include <string_view>
#include <type_traits>
#include <vector>

#include "engine/check/check.h"
#include "engine/check/plan.h"
#include "engine/check/report.h"
#include "engine/check/slices.h"
#include "engine/check/state.h"

namespace engine::fhir {
struct ParsedReference;
}

namespace engine::check {

// A constraint in force on a value: the element (its number was counted already), the type it has
// for this value, and the element that constrains the value's members.
struct Active {
  const ElementPlan* element = nullptr;
  const TypePlan* type = nullptr;      // nullptr on a root
  const ElementPlan* inner = nullptr;  // nullptr: nothing is known of the members

  // What a definition says of the members that all types of a choice share (id, extension), beside
  // `inner`; nullptr when it says nothing.
  const ElementPlan* common() const {
    return element != inner && !element->element->is_root && element->element->has_children()
               ? element
               : nullptr;
  }
};

// A short list of plain values that seldom leaves the stack.
template <class T>
class ShortList {
  static_assert(std::is_trivially_destructible_v<T> && std::is_trivially_copyable_v<T>);

 public:
  ShortList() {}  // NOLINT(modernize-use-equals-default): leaves the places unset on purpose

  void push(const T& value) {
    if (size_ < kInline) {
      inline_[size_++].value = value;
      return;
    }
    if (more_ == nullptr) {
      more_ = std::make_unique<std::vector<T>>(&inline_[0].value, &inline_[0].value + kInline);
    }
    more_->push_back(value);
    ++size_;
  }
  std::size_t size() const { return size_; }
  std::span<const T> span() const {
    return more_ == nullptr ? std::span<const T>(&inline_[0].value, size_)
                            : std::span<const T>(*more_);
  }

 private:
  static constexpr std::size_t kInline = 6;
  union Place {
    Place() {}  // NOLINT(modernize-use-equals-default)
    T value;
  };
  static_assert(sizeof(Place) == sizeof(T));

  std::array<Place, kInline> inline_;
  std::size_t size_ = 0;
  std::unique_ptr<std::vector<T>> more_;
};
using ActiveList = ShortList<Active>;
using Actives = std::span<const Active>;

// The constraints in force on the values of one element, and what any of them asks beside the type.
struct Candidates {
  ActiveList list;
  bool sliced = false;
  bool profiled = false;  // the type's own profiles
};

// The resource that the walk is in.
struct ResourceFrame {
  const json::Node* resource = nullptr;
  shapes::TypeId type = shapes::kNoType;
  const ResourceFrame* outer = nullptr;  // of the Bundle, Parameters or container around it
  const json::Node* entry = nullptr;     // the Bundle.entry it stands in
  bool contained = false;
};

class Walk {
 public:
  Walk(const Checker::State& checker, const Options& options, Scratch::State& scratch);

  // The whole resource; what is wrong is in the scratch's report.
  void run(const json::Node& root);

  // --- For rules and the FHIRPath host
  const Checker::State& checker() const { return checker_; }
  const ResourceFrame* frame() const { return frame_; }
  Report& report() { return scratch_.report; }
  // The resource that a reference from the current resource means; nullptr when it is not at hand.
  struct Target {
    const json::Node* resource = nullptr;
    bool contained = false;
    bool bundled = false;
    bool ambiguous = false;
  };
  Target resolve(std::string_view reference);
  Target resolve(std::string_view reference, const ResourceFrame* from);
  Target resolve(std::string_view reference, const fhir::ParsedReference& parsed,
                 const ResourceFrame* from);
  // Whether a value meets a plan, said without reporting.
  bool conforms(const json::Node* value, const json::Node* companion, shapes::TypeId type,
                const ElementPlan& plan);
  // As Checker::in_force().
  std::vector<InForce> in_force(const json::Node& resource);
  // As Checker::in_slice().
  base::Result<bool> in_named_slice(const json::Node* value, const json::Node* companion,
                                    shapes::TypeId type, std::string_view profile,
                                    std::string_view slice);
  shapes::TypeId type_of_resource(const json::Node& resource) const;
  shapes::Membership member_of(const json::Node& value, shapes::TypeId type,
                               const shapes::ValueSet& set) const;

 private:
  using Severity = fhir::Severity;

  // walk.cc
  void resource(const json::Node& node, shapes::TypeId declared, Actives asked,
                const json::Node* entry, bool contained);
  const shapes::Shape* claimed_shape(std::string_view canonical) const;
  void claims(const json::Node& node, shapes::TypeId type, ActiveList& actives);
  void global_profiles(const json::Node& node, shapes::TypeId type, ActiveList& actives);
  void requested(const json::Node& node, shapes::TypeId type, ActiveList& actives);
  void activate(const json::Node& at, const shapes::Shape& shape, shapes::TypeId type,
                ActiveList& actives, std::string_view why);
  void object(const json::Node& node, shapes::TypeId type, Actives actives, bool is_companion);
  void collect(const json::Node& node, shapes::TypeId type, std::span<Slot> slots,
               bool is_companion);
  void twice(const json::Node& object, const json::Node& member);
  void unknown_member(const json::Node& object, const json::Node& member, shapes::TypeId type);
  void missing(const json::Node& object, std::span<const Slot> slots, shapes::TypeId type,
               Actives actives);
  void element(const json::Node& object, const shapes::Element& info, std::size_t index,
               const Slot& slot, Actives actives);
  // True when it is an array exactly where the element repeats.
  bool has_form(const json::Node* node, const shapes::Element& info) {
    return node == nullptr || node->is_array() == info.repeats || wrong_form(*node, info);
  }
  bool wrong_form(const json::Node& node, const shapes::Element& info);
  void items(const json::Node& object, const shapes::Element& info, const Slot& slot,
             const Candidates& candidates);
  void value(const SliceItem& item, const shapes::Member& member, std::size_t choice,
             Actives candidates, std::span<const Assignment> assignments, const json::Node& object);
  void unsliced(const json::Node* node, const json::Node* companion, const shapes::Member& member,
                const Candidates& candidates, const json::Node& object);
  void typed_value(const SliceItem& item, const shapes::Member& member, ActiveList& actives,
                   const json::Node& object);
  void checked_value(const SliceItem& item, const shapes::Member& member, Actives actives,
                     const json::Node& object);
  void add_profiles(const SliceItem& item, shapes::TypeId type, ActiveList& actives);
  void number(const json::Node& object, const shapes::Element& info, const Slot& slot,
              const ElementPlan& child);

  // walk_values.cc
  void primitive(const json::Node* node, const json::Node* companion, shapes::TypeId type,
                 Actives actives, const json::Node& object);
  void take_out_nulls(const json::Node*& node, const json::Node*& companion);
  void without_value(const json::Node& companion, const shapes::ShapeElement& element);
  void lexical(const json::Node& node, fhir::Primitive primitive);
  void narrative(const json::Node& node);
  void fixed_and_pattern(const json::Node& node, const shapes::ShapeElement& element);
  void limits(const json::Node& node, shapes::TypeId type, const shapes::ShapeElement& element);
  void limit(const json::Node& node, const json::Node& bound_node, bool is_min,
             const shapes::ShapeElement& element);
  void relative_limit(const json::Node& node, const json::Node& bound_node, bool is_min,
                      const shapes::ShapeElement& element);
  void binding(const json::Node& node, shapes::TypeId type, const shapes::ShapeElement& element);
  void bound(const json::Node& node, shapes::TypeId type, const shapes::ValueSet* set,
             std::string_view canonical, shapes::Strength strength, bool is_max);
  void attachment(const json::Node& node);
  void coding(const json::Node& node);

  // walk_named_slice.cc
  bool in_slice_chain(const SliceItem& item, shapes::TypeId type,
                      const shapes::ShapeElement& slice);

  // walk_slices.cc
  using Assignments = ShortList<Assignment>;
  void sort_into_slices(const json::Node& object, std::span<const SliceItem> items,
                        const ElementPlan& plan, shapes::TypeId type, Assignments& out);
  void ambiguous(const SliceItem& item, const ElementPlan& plan, std::size_t one,
                 std::size_t other);
  void of_no_slice(const SliceItem& item, const ElementPlan& plan);
  void count_slices(const json::Node& object, const ElementPlan& plan,
                    std::span<const std::uint32_t> counts);
  bool in_slice(const SliceItem& item, shapes::TypeId type, const shapes::Slicing& slicing,
                const shapes::Slice& slice, const ElementPlan& slice_plan);
  bool passes(const SliceItem& item, shapes::TypeId type,
              const shapes::Discriminator& discriminator, std::span<const shapes::SliceTest> tests);
  struct Found {
    const json::Node* node;
    const json::Node* companion;
    shapes::TypeId type;
  };
  void follow(const Found& from, std::span<const shapes::PathStep> steps, ShortList<Found>& out);
  bool test(const Found& found, const shapes::SliceTest& slice_test);

  // walk_references.cc
  void reference(const json::Node& node, Actives actives);
  void target_types(const json::Node& node, shapes::TypeId target, const Active& active);
  void target_conforms(const json::Node& node, const Target& target, const Active& active);
  const BundleIndex& index_of(const json::Node& bundle);

  // walk_extensions.cc
  void extension_shape(const json::Node& node, const json::Node& object, ActiveList& actives);
  void extension_context(const json::Node& holder, const shapes::Shape& shape);
  bool in_fhirpath_context(const json::Node& holder, std::string_view text);

  // walk_bundles.cc
  void bundle(const json::Node& node);
  void full_url(const json::Node& entry_node, std::string_view bundle_type);
  void links(const json::Node& bundle_node);
  void search_mode(const json::Node& entry_node);
  void document_references(const json::Node& node, const ResourceFrame& composition,
                           const json::Node& entry_node);
  void contained_ids(const json::Node& node);

  // walk_rules.cc
  void rules(const Subject& subject, std::span<const Rule> list);
  void evaluate(const Subject& subject, shapes::ConstraintId id);
  base::Result<fhirpath::Truth> evaluate(const fhirpath::Expression& expression,
                                         const Subject& subject);
  void broken(const Subject& subject, const shapes::Constraint& constraint);

  const shapes::TypeModel& types() const { return checker_.types; }
  const Vocabulary& words() const { return checker_.words; }
  bool settled() const { return scratch_.report.settled(); }

  const Checker::State& checker_;
  const Options& options_;
  Scratch::State& scratch_;
  const ResourceFrame* frame_ = nullptr;
  int evaluations_ = 0;                   // of FHIRPath under way
  std::vector<InForce>* told_ = nullptr;  // filled by activate() when somebody asks
};

}  // namespace engine::check

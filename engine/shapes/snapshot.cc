#include "engine/shapes/snapshot.h"

#include <algorithm>
#include <cctype>
#include <memory>
#include <utility>

#include "engine/base/limits.h"
#include "engine/shapes/snapshot_merge.h"
#include "engine/shapes/snapshot_tree.h"
#include "engine/shapes/words.h"

namespace engine::shapes {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

bool derives_from(const void* lookup, std::string_view type, std::string_view base) {
  const auto& find = *static_cast<const SnapshotLookup*>(lookup);
  std::string_view at = type;
  for (std::size_t steps = 0; steps < base::limits::kDefinitionChainMax; ++steps) {
    Result<const ShapeFacts*> found = find(at);
    if (!found || *found == nullptr) {
      return false;
    }
    at = (*found)->base.substr((*found)->base.rfind('/') + 1);
    if (at == base) {
      return true;
    }
    if (at.empty()) {
      return false;
    }
  }
  return false;
}

// "valueQuantity" below value[x] that allows Quantity: the type's code; else "".
std::string_view shorthand_type(const SnapshotNode& choice, std::string_view segment) {
  const std::string_view stem = choice.segment.substr(0, choice.segment.size() - 3);
  if (!choice.is_choice() || !segment.starts_with(stem) || segment.size() == stem.size()) {
    return {};
  }
  const std::string_view rest = segment.substr(stem.size());
  const SnapshotNode& original = choice.pristine != nullptr ? *choice.pristine : choice;
  for (const TypeFact& type : original.facts.types) {
    if (type.code.size() == rest.size() && type.code.substr(1) == rest.substr(1) &&
        std::toupper(static_cast<unsigned char>(type.code[0])) == rest[0]) {
      return type.code;
    }
  }
  return {};
}

class SnapshotGenerator {
 public:
  SnapshotGenerator(const ShapeFacts& differential, const SnapshotContext& context)
      : differential_(differential), context_(context) {}

  Result<ShapeFacts> generate() {
    Result<void> started = start();
    if (!started) {
      return std::move(started).error();
    }
    for (const ElementFacts& over : differential_.elements) {
      Result<void> applied = apply(over);
      if (!applied) {
        return std::move(applied).error();
      }
      if (nodes_ > base::limits::kShapeElementsMax) {
        return wrong(ErrorCode::kLimit, "the snapshot grows past what can be compiled", over.id);
      }
    }
    Result<void> sound = check_slices(*root_);
    if (!sound) {
      return std::move(sound).error();
    }
    ShapeFacts facts = differential_;
    facts.elements = to_list(*root_, differential_.type, context_.texts);
    facts.is_abstract = differential_.is_abstract;
    return facts;
  }

 private:
  Error wrong(ErrorCode code, std::string what, std::string_view id) const {
    return {code, std::move(what), std::string(differential_.url) + ": " + std::string(id)};
  }
  Error wrong(std::string what, std::string_view id) const {
    return wrong(ErrorCode::kInvalid, std::move(what), id);
  }
  void warn(std::string what, std::string_view id) const {
    fhir::Issue issue;
    issue.severity = fhir::Severity::kWarning;
    issue.code = "not-found";
    issue.expression = std::string(differential_.url) + ": " + std::string(id);
    issue.text = std::move(what) + " (" + issue.expression + ")";
    context_.warnings.push_back(std::move(issue));
  }

  Result<void> start() {
    Result<const ShapeFacts*> base = static_cast<const ShapeFacts*>(nullptr);
    if (!differential_.base.empty()) {
      base = context_.lookup(differential_.base);
      if (!base) {
        return std::move(base).error();
      }
    }
    if (*base == nullptr) {
      // R4 has no definition of Base, on which logical models may stand.
      const bool rootless = !differential_.is_profile &&
                            (differential_.base.empty() || differential_.base.ends_with("/Base"));
      if (!rootless) {
        return wrong(ErrorCode::kNotFound,
                     "the base " + std::string(differential_.base) +
                         " is not known; add the package that defines it",
                     differential_.type);
      }
      root_ = std::make_unique<SnapshotNode>();
      root_->facts.path = root_->facts.id = root_->segment = differential_.type;
      root_->facts.has_min = root_->facts.has_max = true;
      return {};
    }
    if (differential_.is_profile && (*base)->type != differential_.type) {
      return wrong("the type is " + std::string(differential_.type) + " but the base's is " +
                       std::string((*base)->type),
                   differential_.type);
    }
    root_ = to_tree((*base)->elements);
    if (root_ == nullptr) {
      return wrong("the base " + std::string(differential_.base) + " has no snapshot",
                   differential_.type);
    }
    root_->segment = differential_.type;
    nodes_ = count_nodes(*root_);
    return {};
  }

  // --- One entry of the differential

  Result<void> apply(const ElementFacts& over) {
    SnapshotNode* node = root_.get();
    std::string_view rest = over.id;
    take_segment(rest);  // the root itself
    while (!rest.empty()) {
      const std::string_view part = take_segment(rest);
      const std::size_t colon = part.find(':');
      Result<SnapshotNode*> next =
          step(*node, part.substr(0, colon),
               colon == std::string_view::npos ? std::string_view() : part.substr(colon + 1), over,
               rest.empty());
      if (!next) {
        return std::move(next).error();
      }
      node = *next;
    }
    return merge(*node, over);
  }

  static std::string_view take_segment(std::string_view& rest) {
    const std::size_t dot = rest.find('.');
    const std::string_view part = rest.substr(0, dot);
    rest = dot == std::string_view::npos ? std::string_view() : rest.substr(dot + 1);
    return part;
  }

  // From an element to the child (and slice of it) that a differential names.
  Result<SnapshotNode*> step(SnapshotNode& parent, std::string_view segment, std::string_view slice,
                             const ElementFacts& over, bool is_last) {
    keep_pristine(parent);
    if (parent.children.empty()) {
      Result<void> unfolded = unfold(parent, over);
      if (!unfolded) {
        return std::move(unfolded).error();
      }
    }
    SnapshotNode* child = parent.child(segment);
    if (child == nullptr) {
      for (const auto& candidate : parent.children) {
        if (const std::string_view type = shorthand_type(*candidate, segment); !type.empty()) {
          return shorthand(parent, *candidate, segment, type, over);
        }
      }
      if (!differential_.is_profile && is_last) {
        return add_child(parent, segment, over);
      }
      return wrong("there is no element " + std::string(segment) +
                       " here; the base has: " + names_of(parent),
                   over.id);
    }
    if (slice.empty()) {
      return child;
    }
    if (const std::string_view type =
            child->is_choice() ? shorthand_type(*child, slice) : std::string_view();
        !type.empty()) {
      return type_slice(*child, slice, type, over);
    }
    return slice_of(*child, slice, over);
  }

  static std::string names_of(const SnapshotNode& parent) {
    std::string names;
    for (const auto& child : parent.children) {
      names += names.empty() ? "" : ", ";
      names += child->segment;
    }
    return names.empty() ? "nothing" : names;
  }

  Result<SnapshotNode*> slice_of(SnapshotNode& child, std::string_view slice,
                                 const ElementFacts& over) {
    SnapshotNode* sliced = &child;
    for (std::size_t slash = slice.find('/'); slash != std::string_view::npos;
         slash = slice.find('/', slash + 1)) {
      SnapshotNode* outer = sliced->slice(slice.substr(0, slash));
      if (outer == nullptr) {
        break;
      }
      sliced = outer;
    }
    if (SnapshotNode* known = sliced->slice(slice)) {
      return known;
    }
    if (sliced->facts.slice_name == slice && !sliced->is_slice) {
      return sliced;
    }
    keep_pristine(*sliced);
    SlicingFact& slicing = sliced->facts.slicing;
    if (!slicing.present) {
      const bool extension =
          sliced->segment == "extension" || sliced->segment == "modifierExtension";
      if (extension) {
        slicing.present = slicing.has_rules = true;
        slicing.discriminators = {{DiscriminatorKind::kValue, "url"}};
      } else if (sliced->facts.slice_name.empty()) {
        // A name given to an element that nothing slices: it is that element itself.
        sliced->facts.slice_name = slice;
        return sliced;
      } else {
        return wrong("several slices of an element that neither the base nor the profile slices",
                     over.id);
      }
    }
    return new_slice(*sliced, slice);
  }

  SnapshotNode* new_slice(SnapshotNode& sliced, std::string_view name) {
    std::unique_ptr<SnapshotNode> slice =
        sliced.pristine != nullptr ? sliced.pristine->clone() : sliced.clone();
    slice->slices.clear();
    slice->pristine.reset();
    slice->is_slice = true;
    slice->facts.slicing = {};
    slice->facts.slice_name = copy_text(context_.texts, name);
    slice->facts.min = 0;
    slice->facts.max = sliced.facts.max;
    nodes_ += count_nodes(*slice);
    sliced.slices.push_back(std::move(slice));
    return sliced.slices.back().get();
  }

  // value[x]:valueQuantity.
  Result<SnapshotNode*> type_slice(SnapshotNode& choice, std::string_view name,
                                   std::string_view type, const ElementFacts& over) {
    const bool allowed = std::any_of(choice.facts.types.begin(), choice.facts.types.end(),
                                     [&](const TypeFact& known) { return known.code == type; });
    if (!allowed) {
      return wrong("the type " + std::string(type) + " was excluded earlier", over.id);
    }
    if (SnapshotNode* known = choice.slice(name)) {
      return known;
    }
    keep_pristine(choice);
    slice_by_type(choice,
                  choice.facts.types.size() == 1 ? SlicingRules::kClosed : SlicingRules::kOpen);
    SnapshotNode* slice = new_slice(choice, name);
    std::erase_if(slice->facts.types, [&](const TypeFact& known) { return known.code != type; });
    return slice;
  }

  static void slice_by_type(SnapshotNode& choice, SlicingRules rules) {
    if (!choice.facts.slicing.present) {
      choice.facts.slicing.present = choice.facts.slicing.has_rules = true;
      choice.facts.slicing.discriminators = {{DiscriminatorKind::kType, "$this"}};
      choice.facts.slicing.rules = rules;
    }
  }

  // "valueQuantity" in place of value[x]: unless the differential speaks of value[x] itself, it
  // admits only the types that are named so, and closes the slicing.
  Result<SnapshotNode*> shorthand(SnapshotNode& parent, SnapshotNode& choice,
                                  std::string_view segment, std::string_view type,
                                  const ElementFacts& over) {
    // The part of the id before this segment.
    const std::string_view prefix =
        over.id.substr(0, static_cast<std::size_t>(segment.data() - over.id.data()));
    std::vector<std::string_view> named;
    for (const ElementFacts& other : differential_.elements) {
      if (!other.id.starts_with(prefix)) {
        continue;
      }
      std::string_view rest = other.id.substr(prefix.size());
      const std::string_view part = take_segment(rest);
      if (part.substr(0, part.find(':')) == choice.segment) {
        return type_slice(choice, segment, type, over);
      }
      const std::string_view code = shorthand_type(choice, part);
      if (!code.empty() && std::find(named.begin(), named.end(), code) == named.end()) {
        named.push_back(code);
      }
    }
    keep_pristine(choice);
    std::erase_if(choice.facts.types, [&](const TypeFact& known) {
      return std::find(named.begin(), named.end(), known.code) == named.end();
    });
    // Within a slice of a nested element the published snapshots narrow the element itself.
    const bool in_place = named.size() == 1 && parent.is_slice && !parent.unfolded;
    if (in_place && !choice.facts.types.empty() && !choice.facts.slicing.present) {
      return &choice;
    }
    slice_by_type(choice, SlicingRules::kClosed);
    return type_slice(choice, segment, type, over);
  }

  Result<SnapshotNode*> add_child(SnapshotNode& parent, std::string_view segment,
                                  const ElementFacts& over) {
    auto node = std::make_unique<SnapshotNode>();
    node->segment = segment;
    node->facts.has_min = node->facts.has_max = true;
    node->facts.base_max = over.has_max ? over.max : kUnbounded;
    node->facts.content_reference = over.content_reference;
    if (over.types.empty() && over.content_reference.empty()) {
      return wrong("a new element needs a type", over.id);
    }
    ++nodes_;
    parent.children.push_back(std::move(node));
    return parent.children.back().get();
  }

  static void keep_pristine(SnapshotNode& node) {
    if (node.pristine == nullptr && (node.facts.max > 1 || node.is_choice() || node.is_slice)) {
      node.pristine = node.clone();
    }
  }

  Result<void> merge(SnapshotNode& node, const ElementFacts& over) {
    keep_pristine(node);
    if (Result<void> kept = take_profile_constraints(node.facts, over); !kept) {
      return kept;
    }
    MergeContext context{std::string(differential_.url) + ": " + std::string(over.id),
                         context_.warnings, derives_from, &context_.lookup};
    Result<void> merged = merge_element(node.facts, over, context);
    if (!merged) {
      return merged;
    }
    take_from_extension(node);
    return {};
  }

  // A differential that states a type with one profile takes over what the profile's root demands;
  // one that restates the type without the profile that the base gives it does not lift that.
  Result<void> take_profile_constraints(ElementFacts& facts, const ElementFacts& over) {
    if (facts.types.size() != 1 || over.types.size() != 1 ||
        facts.types[0].code != over.types[0].code || over.types[0].code == "Extension") {
      return {};
    }
    const auto& profiles =
        over.types[0].profiles.empty() ? facts.types[0].profiles : over.types[0].profiles;
    if (profiles.size() != 1) {
      return {};
    }
    Result<const ShapeFacts*> profile = context_.lookup(profiles[0]);
    if (!profile) {
      return std::move(profile).error();
    }
    if (*profile != nullptr && !(*profile)->elements.empty()) {
      add_constraints((*profile)->elements.front(), facts);
    }
    return {};
  }

  // What the definition of an extension says about the extension as such.
  void take_from_extension(SnapshotNode& node) {
    if (!node.is_slice || node.facts.types.size() != 1 || node.facts.types[0].code != "Extension" ||
        node.facts.types[0].profiles.size() != 1) {
      return;
    }
    Result<const ShapeFacts*> extension = context_.lookup(node.facts.types[0].profiles[0]);
    if (!extension || *extension == nullptr || (*extension)->elements.empty()) {
      warn("the extension " + std::string(node.facts.types[0].profiles[0]) + " is not known",
           node.facts.slice_name);
      return;
    }
    node.facts.is_modifier |= (*extension)->elements.front().is_modifier;
  }

  // --- Children that the base does not list: those of the element's type

  Result<void> unfold(SnapshotNode& node, const ElementFacts& over) {
    if (!node.facts.content_reference.empty()) {
      return unfold_reference(node, over);
    }
    if (node.facts.types.empty()) {
      return node.facts.path == root_->facts.path ? Result<void>()
                                                  : wrong("the element has no children", over.id);
    }
    const TypeFact& type = node.facts.types.front();
    const bool one_type =
        std::all_of(node.facts.types.begin(), node.facts.types.end(),
                    [&](const TypeFact& other) { return other.code == type.code; });
    std::unique_ptr<SnapshotNode> source;
    if (one_type && node.facts.types.size() == 1 && type.profiles.size() == 1) {
      Result<std::unique_ptr<SnapshotNode>> profile = tree_of(type.profiles[0]);
      if (!profile) {
        return std::move(profile).error();
      }
      source = std::move(*profile);
      if (source == nullptr) {
        warn("the profile " + std::string(type.profiles[0]) + " is not known", over.id);
      } else {
        add_constraints(source->facts, node.facts);
      }
    }
    if (source == nullptr) {
      Result<std::unique_ptr<SnapshotNode>> plain = tree_of(one_type ? type.code : "Element");
      if (!plain) {
        return std::move(plain).error();
      }
      source = std::move(*plain);
    }
    if (source == nullptr || type.code.starts_with("System.")) {
      return wrong("elements of type " + std::string(type.code) + " have no children to constrain",
                   over.id);
    }
    take_children(node, *source);
    return {};
  }

  Result<void> unfold_reference(SnapshotNode& node, const ElementFacts& over) {
    Result<std::unique_ptr<SnapshotNode>> whole = tree_of(differential_.type);
    if (!whole) {
      return std::move(whole).error();
    }
    SnapshotNode* at = whole->get();
    std::string_view rest = node.facts.content_reference;
    take_segment(rest);
    while (at != nullptr && !rest.empty()) {
      at = at->child(take_segment(rest));
    }
    if (at == nullptr) {
      return wrong(
          "the content reference " + std::string(node.facts.content_reference) + " leads nowhere",
          over.id);
    }
    node.facts.content_reference = {};
    node.facts.types = at->facts.types;
    take_children(node, *at);
    return {};
  }

  Result<std::unique_ptr<SnapshotNode>> tree_of(std::string_view canonical) {
    Result<const ShapeFacts*> facts = context_.lookup(canonical);
    if (!facts) {
      return std::move(facts).error();
    }
    return *facts == nullptr ? std::unique_ptr<SnapshotNode>() : to_tree((*facts)->elements);
  }

  // What the root of a profile demands is part of what is walked into.
  static void add_constraints(const ElementFacts& root, ElementFacts& facts) {
    for (const ConstraintFact& constraint : root.constraints) {
      const bool known =
          std::any_of(facts.constraints.begin(), facts.constraints.end(),
                      [&](const ConstraintFact& other) { return other.key == constraint.key; });
      if (!known) {
        facts.constraints.push_back(constraint);
      }
    }
  }

  void take_children(SnapshotNode& node, SnapshotNode& source) {
    node.unfolded = true;
    nodes_ += count_nodes(source);
    node.children = std::move(source.children);
  }

  // --- At the end

  Result<void> check_slices(const SnapshotNode& node) const {
    std::uint64_t least = 0;
    for (const auto& slice : node.slices) {
      least += slice->facts.min;
      if (slice->facts.max > node.facts.max) {
        return wrong("the slice " + std::string(slice->facts.slice_name) + " allows " +
                         bound_text(slice->facts.max) + ", the sliced element " +
                         bound_text(node.facts.max),
                     node.facts.id);
      }
    }
    if (least > node.facts.max) {
      return wrong("the slices demand " + std::to_string(least) +
                       " items, the element allows at most " + bound_text(node.facts.max),
                   node.facts.id);
    }
    for (const auto* list : {&node.children, &node.slices}) {
      for (const auto& below : *list) {
        if (Result<void> sound = check_slices(*below); !sound) {
          return sound;
        }
      }
    }
    return {};
  }

  const ShapeFacts& differential_;
  const SnapshotContext& context_;
  std::unique_ptr<SnapshotNode> root_;
  std::size_t nodes_ = 0;
};

}  // namespace

Result<ShapeFacts> generate_snapshot(const ShapeFacts& differential,
                                     const SnapshotContext& context) {
  return SnapshotGenerator(differential, context).generate();
}

}  // namespace engine::shapes

#include "engine/shapes/shape_builder.h"

#include <algorithm>
#include <utility>

#include "engine/shapes/type_builder.h"

namespace engine::shapes {

using base::Error;
using base::ErrorCode;
using base::Result;

namespace {

// A code list of no known type is not worth an element: these mean "whatever the type model says".
constexpr std::size_t kNone = static_cast<std::size_t>(-1);

std::string_view last_segment(std::string_view path) {
  return path.substr(path.rfind('.') + 1);
}

}  // namespace

template <class T>
std::span<T> ShapeBuilder::store(const std::vector<T>& items) {
  if (items.empty()) {
    return {};
  }
  T* to = owner_.store_.arena.make_array<T>(items.size());
  std::copy(items.begin(), items.end(), to);
  return {to, items.size()};
}

Error ShapeBuilder::wrong(std::string what, const ElementFacts& where) const {
  return {ErrorCode::kInvalid, std::move(what),
          std::string(facts_.url) + ": " + std::string(where.id)};
}

Result<void> ShapeBuilder::build() {
  shape_.url = facts_.url;
  shape_.version = facts_.version;
  shape_.name = facts_.name;
  shape_.kind = facts_.kind;
  shape_.is_profile = facts_.is_profile;
  shape_.is_abstract = facts_.is_abstract;
  shape_.is_retired = facts_.is_retired;
  shape_.is_extension = facts_.is_profile && facts_.type == "Extension";
  shape_.base_canonical = facts_.base;
  std::vector<ExtensionContext> contexts;
  for (const ContextFact& context : facts_.contexts) {
    contexts.push_back({context.kind, context.expression});
  }
  shape_.contexts = store(contexts);
  shape_.context_invariants = store(facts_.context_invariants);
  const auto type = owner_.catalog_.types().find(facts_.type);
  if (facts_.elements.empty() || !type) {
    return Error(ErrorCode::kInvalid,
                 facts_.elements.empty() ? "the definition has no snapshot"
                                         : "the type " + std::string(facts_.type) + " is not known",
                 std::string(facts_.url));
  }
  shape_.type = *type;
  const std::size_t count = facts_.elements.size();
  elements_ = owner_.store_.arena.make_array<ShapeElement>(count);
  std::uninitialized_fill_n(elements_, count, ShapeElement());
  shape_.elements = {elements_, count};
  for (std::size_t i = 0; i < count; ++i) {
    Result<void> placed = i == 0 ? build_root() : place(i);
    if (!placed) {
      return placed;
    }
  }
  seal_children();
  seal_slices();
  return {};
}

Result<void> ShapeBuilder::build_root() {
  const ElementFacts& facts = facts_.elements.front();
  if (facts.path.find('.') != std::string_view::npos) {
    return wrong("the first element of a snapshot must be the root", facts);
  }
  elements_[0].is_root = true;
  TypeRef type;
  type.type = shape_.type;
  elements_[0].types = store(std::vector<TypeRef>{type});
  open_ = {0};
  return fill(0);
}

// Where an element hangs: below its parent, or as a slice beside its siblings.
Result<void> ShapeBuilder::place(std::size_t index) {
  const ElementFacts& facts = facts_.elements[index];
  ShapeElement& element = elements_[index];
  const std::size_t dot = facts.id.rfind('.');
  if (dot == std::string_view::npos) {
    return wrong("a second root in one snapshot", facts);
  }
  // Snapshots list an element right before what is below it, so its parent is nearly always the
  // last one that was a level higher.
  const auto depth = static_cast<std::size_t>(std::count(facts.id.begin(), facts.id.end(), '.'));
  const std::string_view parent_id = facts.id.substr(0, dot);
  std::size_t parent = depth <= open_.size() ? open_[depth - 1] : index;
  if (parent == index || facts_.elements[parent].id != parent_id) {
    parent = find_before(index, parent_id);
  }
  open_.resize(std::max(open_.size(), depth + 1), 0);
  open_[depth] = index;
  if (parent == index) {
    return wrong("the element's parent is missing in the snapshot", facts);
  }
  element.parent = &elements_[parent];
  Result<TypeId> children_type = type_of_children(facts_.elements[parent], elements_[parent]);
  if (!children_type) {
    return std::move(children_type).error();
  }
  const std::string_view segment = last_segment(facts.path);
  element.stem = owner_.catalog_.names().find(TypeModelBuilder::stem_of(segment));
  const Element* type_element = element.stem == nullptr
                                    ? nullptr
                                    : owner_.catalog_.types().element(*children_type, element.stem);
  const TypeInfo& owner_type = owner_.catalog_.types().info(*children_type);
  if (type_element == nullptr) {
    if (owner_type.kind == TypeKind::kPrimitive && segment == "value") {
      return fill(index);  // the JSON value itself; never a member
    }
    return wrong(
        "the type " + std::string(owner_type.name) + " has no element " + std::string(segment),
        facts);
  }
  element.choice = type_element->choice;
  element.repeats = type_element->repeats;
  const auto element_index = static_cast<std::size_t>(type_element - owner_type.elements.data());
  if (!facts.slice_name.empty()) {
    element.sliced = sliced_by(index);
  }
  if (element.sliced != nullptr) {
    element.slice_name = facts.slice_name;
  } else {
    // Some published snapshots name an element that nothing slices: it is the element itself.
    children_.push_back({parent, index, element_index});
  }
  Result<void> types = fill_types(facts, element, *type_element);
  if (!types) {
    return types;
  }
  return fill(index);
}

// The element that a slice belongs to, or the slice that a re-slice belongs to; nullptr when there
// is none.
const ShapeElement* ShapeBuilder::sliced_by(std::size_t index) const {
  const ElementFacts& facts = facts_.elements[index];
  const std::size_t name_at = facts.id.size() - facts.slice_name.size();
  const std::size_t slash = facts.slice_name.rfind('/');
  if (slash != std::string_view::npos) {
    const std::size_t outer = find_before(index, facts.id.substr(0, name_at + slash));
    if (outer != index) {
      return &elements_[outer];
    }
  }
  const std::size_t sliced = find_before(index, facts.id.substr(0, name_at - 1));
  return sliced == index ? nullptr : &elements_[sliced];
}

std::size_t ShapeBuilder::find_before(std::size_t count, std::string_view id) const {
  for (std::size_t i = count; i-- > 0;) {
    if (facts_.elements[i].id == id) {
      return i;
    }
  }
  return count;
}

Result<TypeId> ShapeBuilder::type_of_children(const ElementFacts& facts, ShapeElement& element) {
  if (element.has_children()) {
    return element.children_type;
  }
  const TypeModel& types = owner_.catalog_.types();
  TypeId type = element.types.empty() ? kNoType : element.types.front().type;
  for (const TypeRef& other : element.types) {
    if (other.type != type) {
      type = types.find("Element").value_or(kNoType);
      break;
    }
  }
  if (type == kNoType) {
    return wrong("an element with children needs a known type", facts);
  }
  element.children_type = type;
  return type;
}

Result<void> ShapeBuilder::fill(std::size_t index) {
  const ElementFacts& facts = facts_.elements[index];
  ShapeElement& element = elements_[index];
  element.id = facts.id;
  element.min = facts.min;
  element.max = facts.max;
  element.base_max = facts.base_max;
  element.index = static_cast<std::uint32_t>(index);
  element.shape = &shape_;
  element.must_support = facts.must_support;
  element.is_modifier = facts.is_modifier;
  element.is_summary = facts.is_summary;
  element.content_reference = facts.content_reference;
  if (facts.binding.present) {
    Binding* binding = owner_.store_.arena.make<Binding>();
    binding->strength = facts.binding.strength;
    binding->canonical = facts.binding.value_set;
    binding->max_canonical = facts.binding.max_value_set;
    element.binding = binding;
  }
  fill_constraints(facts, element);
  Result<void> values = fill_values(facts, element);
  if (!values) {
    return values;
  }
  return fill_slicing(facts, element);
}

Result<void> ShapeBuilder::fill_types(const ElementFacts& facts, ShapeElement& element,
                                      const Element& type_element) {
  const TypeModel& model = owner_.catalog_.types();
  std::vector<TypeRef> types;
  std::vector<std::size_t> choices;  // of each type
  auto choice_of = [&](const TypeFact& fact) {
    if (!type_element.choice) {
      return std::size_t{0};
    }
    const auto wanted = model.find(fact.code);
    for (std::size_t i = 0; i < type_element.members.size(); ++i) {
      if (wanted && type_element.members[i].type == *wanted) {
        return i;
      }
    }
    return kNone;
  };
  for (const TypeFact& fact : facts.types) {
    TypeRef type;
    const std::size_t choice = choice_of(fact);
    if (choice == kNone) {
      return wrong("the base definition does not allow the type " + std::string(fact.code), facts);
    }
    type.member = &type_element.members[choice];
    const bool nested =
        type.member->type != kNoType && model.info(type.member->type).kind == TypeKind::kBackbone;
    type.type = nested ? type.member->type : model.find(fact.code).value_or(kNoType);
    if (type.type == kNoType) {
      return wrong("the type " + std::string(fact.code) + " is not known", facts);
    }
    auto references = [&](const std::vector<std::string_view>& canonicals) {
      std::vector<ShapeRef> refs;
      for (const std::string_view canonical : canonicals) {
        refs.push_back({canonical, nullptr});
      }
      return store(refs);
    };
    type.profiles = references(fact.profiles);
    type.target_profiles = references(fact.targets);
    type.aggregation = fact.aggregation;
    type.versioning = fact.versioning;
    types.push_back(type);
    choices.push_back(choice);
  }
  if (facts.any_type) {
    const auto known = owner_.open_types_.find(&type_element);
    if (known != owner_.open_types_.end()) {
      element.types = known->second.types;
      element.by_choice = known->second.by_choice;
      return {};
    }
  }
  if (facts.types.empty()) {
    // A content reference; or a definition that leaves the types to its base.
    for (std::size_t i = 0; i < type_element.members.size(); ++i) {
      TypeRef type;
      type.type = type_element.members[i].type;
      type.member = &type_element.members[i];
      types.push_back(type);
      choices.push_back(i);
    }
  }
  const std::span<TypeRef> stored = store(types);
  element.types = stored;
  std::vector<const TypeRef*> by_choice(type_element.members.size(), nullptr);
  for (std::size_t i = 0; i < stored.size(); ++i) {
    if (by_choice[choices[i]] == nullptr) {
      by_choice[choices[i]] = &stored[i];
    }
  }
  element.by_choice = store(by_choice);
  if (facts.any_type) {
    // The same for every element that leaves the choice open, so it is kept once.
    owner_.open_types_[&type_element] = {element.types, element.by_choice};
  }
  return {};
}

Result<void> ShapeBuilder::fill_values(const ElementFacts& facts, ShapeElement& element) {
  const TypeModel& types = owner_.catalog_.types();
  ValueLimits limits;
  struct Slot {
    const ValueFact& fact;
    const json::Node*& node;
    TypeId& type;
  };
  const Slot slots[] = {{facts.fixed, element.fixed, element.value_type},
                        {facts.pattern, element.pattern, element.value_type},
                        {facts.min_value, limits.min_value, limits.min_type},
                        {facts.max_value, limits.max_value, limits.max_type}};
  for (const Slot& slot : slots) {
    if (!slot.fact.present()) {
      continue;
    }
    Result<const json::Node*> node = owner_.value_node(slot.fact);
    if (!node) {
      return wrong(node.error().detail, facts);
    }
    slot.node = *node;
    slot.type = types.find(slot.fact.type).value_or(kNoType);
  }
  limits.length_max = facts.length_max;
  if (limits.min_value != nullptr || limits.max_value != nullptr || limits.length_max != 0) {
    element.limits = owner_.store_.arena.make<ValueLimits>(limits);
  }
  return {};
}

void ShapeBuilder::fill_constraints(const ElementFacts& facts, ShapeElement& element) {
  std::vector<ConstraintId> ids;
  for (const ConstraintFact& constraint : facts.constraints) {
    const ConstraintId id = owner_.constraint_id(constraint);
    if (std::find(ids.begin(), ids.end(), id) == ids.end()) {
      ids.push_back(id);
    }
  }
  element.constraints = store(ids);
}

Result<void> ShapeBuilder::fill_slicing(const ElementFacts& facts, ShapeElement& element) {
  if (!facts.slicing.present) {
    return {};
  }
  std::vector<Discriminator> discriminators;
  for (const DiscriminatorFact& fact : facts.slicing.discriminators) {
    auto steps =
        parse_discriminator_path(fact.path, owner_.catalog_.names(), owner_.catalog_.types());
    if (!steps) {
      return wrong(
          "the discriminator path '" + std::string(fact.path) + "' is not of the restricted form",
          facts);
    }
    discriminators.push_back({fact.kind, fact.path, store(*steps)});
  }
  Slicing* slicing = owner_.store_.arena.make<Slicing>();
  slicing->discriminators = store(discriminators);
  slicing->rules = facts.slicing.rules;
  slicing->ordered = facts.slicing.ordered;
  const bool one = discriminators.size() == 1;
  slicing->by_type =
      one && discriminators[0].kind == DiscriminatorKind::kType && discriminators[0].steps.empty();
  element.slicing = slicing;
  return {};
}

void ShapeBuilder::seal_children() {
  std::stable_sort(children_.begin(), children_.end(),
                   [](const Child& a, const Child& b) { return a.parent < b.parent; });
  for (std::size_t i = 0; i < children_.size();) {
    ShapeElement& parent = elements_[children_[i].parent];
    const std::size_t count = owner_.catalog_.types().info(parent.children_type).elements.size();
    auto** array = owner_.store_.arena.make_array<const ShapeElement*>(count);
    std::fill(array, array + count, nullptr);
    const std::size_t owner = children_[i].parent;
    for (; i < children_.size() && children_[i].parent == owner; ++i) {
      if (array[children_[i].element] == nullptr) {
        array[children_[i].element] = &elements_[children_[i].child];
      }
    }
    parent.children = {array, count};
  }
  for (std::size_t i = 0; i < shape_.elements.size(); ++i) {
    if (elements_[i].children.empty()) {
      elements_[i].children_type = kNoType;
    }
  }
}

void ShapeBuilder::seal_slices() {
  std::vector<std::vector<Slice>> slices(shape_.elements.size());
  for (std::size_t i = 0; i < shape_.elements.size(); ++i) {
    if (elements_[i].sliced != nullptr) {
      Slice slice;
      slice.element = &elements_[i];
      slices[elements_[i].sliced->index].push_back(slice);
    }
  }
  for (std::size_t i = 0; i < slices.size(); ++i) {
    if (slices[i].empty()) {
      continue;
    }
    if (elements_[i].slicing == nullptr) {
      // A published slip: slices without a slicing entry. Matched by speculative conformance.
      elements_[i].slicing = owner_.store_.arena.make<Slicing>();
    }
    const_cast<Slicing*>(elements_[i].slicing)->slices = store(slices[i]);
  }
}

}  // namespace engine::shapes

#include "engine/shapes/type_builder.h"

#include <bit>
#include <string>
#include <utility>

namespace engine::shapes {

using base::Error;
using base::ErrorCode;
using base::Result;

namespace {

// The types of values that FHIR's definitions borrow from FHIRPath.
constexpr std::string_view kSystemTypes[] = {"System.Boolean", "System.String",  "System.Integer",
                                             "System.Decimal", "System.Date",    "System.DateTime",
                                             "System.Time",    "System.Quantity"};

constexpr std::size_t kTypesMax = 0xFF00;

bool has_descendants(const ShapeFacts& shape, std::size_t index) {
  const std::string_view path = shape.elements[index].path;
  for (std::size_t i = index + 1; i < shape.elements.size(); ++i) {
    const std::string_view next = shape.elements[i].path;
    if (!next.starts_with(path) || next.size() <= path.size()) {
      return false;
    }
    if (next[path.size()] == '.') {
      return true;
    }
  }
  return false;
}

// A data type whose inside a logical model narrows stays that data type.
bool opens_type(const ElementFacts& element) {
  if (element.types.empty()) {
    return element.content_reference.empty();
  }
  const std::string_view code = element.types.front().code;
  return code == "BackboneElement" || code == "Element" || code == "Base";
}

bool is_child(std::string_view path, std::string_view parent) {
  return path.size() > parent.size() + 1 && path.starts_with(parent) &&
         path[parent.size()] == '.' && path.find('.', parent.size() + 1) == std::string_view::npos;
}

}  // namespace

std::string_view TypeModelBuilder::stem_of(std::string_view segment) {
  return segment.ends_with("[x]") ? segment.substr(0, segment.size() - 3) : segment;
}

Result<TypeId> TypeModelBuilder::declare_type(std::string_view name, TypeKind kind) {
  if (model_.infos_.size() >= kTypesMax) {
    return Error(ErrorCode::kLimit, "more types than can be held", std::string(name));
  }
  const auto type = static_cast<TypeId>(model_.infos_.size());
  TypeInfo& info = model_.infos_.emplace_back();
  info.name = name;
  info.kind = kind;
  model_.by_name_.emplace(name, type);
  return type;
}

Result<void> TypeModelBuilder::declare(const ShapeFacts& definition) {
  if (model_.by_name_.contains(definition.type)) {
    return {};
  }
  if (definition.elements.empty()) {
    return Error(ErrorCode::kInvalid, "the definition of a type needs a snapshot",
                 std::string(definition.url));
  }
  for (const ElementFacts& element : definition.elements) {
    if (element.types.size() > 1 && !element.path.ends_with("[x]") &&
        element.types.front().code != element.types.back().code) {
      return Error(ErrorCode::kInvalid, "an element of several types needs a path ending in [x]",
                   std::string(definition.url) + ": " + std::string(element.id));
    }
  }
  Result<TypeId> type = declare_type(definition.type, definition.kind);
  if (!type) {
    return std::move(type).error();
  }
  model_.infos_[*type].abstract = definition.is_abstract;
  model_.by_name_.emplace(definition.url, *type);
  pending_.push_back({*type, &definition, 0});
  if (!definition.base.empty()) {
    bases_.emplace_back(*type, definition.base.substr(definition.base.rfind('/') + 1));
  }
  for (std::size_t i = 1; i < definition.elements.size(); ++i) {
    const ElementFacts& element = definition.elements[i];
    if (element.slice_name.empty() && opens_type(element) && has_descendants(definition, i) &&
        !model_.by_name_.contains(element.path)) {
      Result<TypeId> nested = declare_type(element.path, TypeKind::kBackbone);
      if (!nested) {
        return std::move(nested).error();
      }
      pending_.push_back({*nested, &definition, i});
      bases_.emplace_back(*nested, element.types.empty() ? std::string_view("Element")
                                                         : element.types.front().code);
    }
  }
  return {};
}

TypeId TypeModelBuilder::member_type(const ElementFacts& facts, std::string_view code) {
  if (!facts.content_reference.empty()) {
    return model_.find(facts.content_reference.substr(1)).value_or(kNoType);
  }
  // A nested element stands for a type of its own.
  if (const auto nested = model_.by_name_.find(facts.path); nested != model_.by_name_.end()) {
    return nested->second;
  }
  return model_.find(code).value_or(kNoType);
}

void TypeModelBuilder::define_element(const ElementFacts& facts, std::size_t index,
                                      Element& element) {
  const std::string_view segment = facts.path.substr(facts.path.rfind('.') + 1);
  const std::string_view stem = stem_of(segment);
  element.stem = names_.intern(stem);
  element.choice = stem.size() != segment.size();
  element.repeats = facts.base_max > 1;
  element.min = facts.min;
  std::vector<Member> members;
  auto add_member = [&](std::string_view code) {
    Member member;
    member.type = member_type(facts, code);
    member.element = static_cast<std::uint16_t>(index);
    std::string name(stem);
    if (element.choice) {
      name += code;
      if (name.size() > stem.size()) {
        char& first = name[stem.size()];
        first = first >= 'a' && first <= 'z' ? static_cast<char>(first - 'a' + 'A') : first;
      }
    }
    member.name = names_.intern(name);
    for (const Member& known : members) {
      if (known.name == member.name) {
        return;
      }
    }
    if (member.type != kNoType && model_.info(member.type).kind == TypeKind::kPrimitive) {
      member.companion = names_.intern("_" + name);
    }
    members.push_back(member);
  };
  if (facts.types.empty()) {
    add_member({});
  }
  for (const TypeFact& type : facts.types) {
    add_member(type.code);
  }
  Member* stored = arena_.make_array<Member>(members.size());
  std::copy(members.begin(), members.end(), stored);
  element.members = {stored, members.size()};
}

void TypeModelBuilder::define(const Nested& nested) {
  const std::vector<ElementFacts>& all = nested.shape->elements;
  const std::string_view path = all[nested.element].path;
  const bool primitive = model_.info(nested.type).kind == TypeKind::kPrimitive;
  std::vector<Element> elements;
  for (std::size_t i = nested.element + 1; i < all.size(); ++i) {
    if (!all[i].path.starts_with(path)) {
      break;
    }
    // The value of a primitive is the JSON value itself, never a member.
    if (!is_child(all[i].path, path) || !all[i].slice_name.empty() ||
        (primitive && all[i].path.ends_with(".value"))) {
      continue;
    }
    const std::size_t index = elements.size();
    define_element(all[i], index, elements.emplace_back());
  }
  Element* stored = arena_.make_array<Element>(elements.size());
  std::copy(elements.begin(), elements.end(), stored);
  model_.infos_[nested.type].elements = {stored, elements.size()};
  index_members(nested.type);
}

void TypeModelBuilder::index_members(TypeId type) {
  std::size_t count = 1;
  for (const Element& element : model_.info(type).elements) {
    count += element.members.size() * 2;
  }
  const std::size_t capacity = std::bit_ceil(count * 2);
  auto* slots = arena_.make_array<TypeModel::MemberSlot>(capacity);
  std::fill(slots, slots + capacity, TypeModel::MemberSlot());
  const auto mask = static_cast<std::uint32_t>(capacity - 1);
  auto put = [&](const json::Name* name, const Member& member) {
    std::uint32_t i = name->id & mask;
    while (slots[i].name != nullptr && slots[i].name != name) {
      i = (i + 1) & mask;
    }
    if (slots[i].name == nullptr) {
      slots[i] = {name, &member};
    }
  };
  for (const Element& element : model_.info(type).elements) {
    for (const Member& member : element.members) {
      put(member.name, member);
      if (member.companion != nullptr) {
        put(member.companion, member);
      }
    }
  }
  model_.member_tables_[type] = {slots, mask};
}

void TypeModelBuilder::index_ancestors() {
  const std::size_t count = model_.infos_.size();
  model_.words_ = (count + 63) / 64;
  model_.ancestors_.assign(count * model_.words_, 0);
  for (std::size_t type = 0; type < count; ++type) {
    std::size_t at = type;
    // A cycle of bases would otherwise never end.
    for (std::size_t steps = 0; at < count && steps <= count; ++steps) {
      model_.ancestors_[type * model_.words_ + at / 64] |= std::uint64_t{1} << (at % 64);
      at = model_.infos_[at].base;
    }
  }
}

Result<void> TypeModelBuilder::add(const std::vector<const ShapeFacts*>& definitions) {
  if (model_.infos_.empty()) {
    for (const std::string_view name : kSystemTypes) {
      Result<TypeId> type = declare_type(name, TypeKind::kSystem);
      if (!type) {
        return std::move(type).error();
      }
    }
    names_.intern("resourceType");
  }
  for (const ShapeFacts* definition : definitions) {
    Result<void> declared = declare(*definition);
    if (!declared) {
      return declared;
    }
  }
  for (const auto& [type, base] : bases_) {
    model_.infos_[type].base = model_.find(base).value_or(kNoType);
  }
  model_.member_tables_.resize(model_.infos_.size());
  static constexpr TypeModel::MemberSlot kNoMember;
  for (TypeModel::MemberTable& table : model_.member_tables_) {
    if (table.slots == nullptr) {
      table = {&kNoMember, 0};
    }
  }
  for (const Nested& nested : pending_) {
    define(nested);
  }
  pending_.clear();
  bases_.clear();
  index_ancestors();
  return {};
}

}  // namespace engine::shapes

// What each discriminator asks of an item: found once, when the catalog is linked, by walking the
// discriminator's path below every slice (standards: FHIR R4 profiling, discriminators).

#include <algorithm>
#include <optional>

#include "engine/shapes/catalog_builder.h"
#include "engine/shapes/type_builder.h"

namespace engine::shapes {
namespace {

std::string_view quoted_argument(std::string_view call) {
  const std::size_t open = call.find('(');
  std::string_view inner = call.substr(open + 1, call.size() - open - 2);
  if (inner.size() >= 2 && inner.front() == inner.back() &&
      (inner.front() == '\'' || inner.front() == '"')) {
    inner = inner.substr(1, inner.size() - 2);
  }
  return inner;
}

// Up to the next '.' that stands outside parentheses.
std::string_view take_step(std::string_view& rest) {
  std::size_t depth = 0;
  std::size_t end = 0;
  for (; end < rest.size(); ++end) {
    depth += rest[end] == '(' ? 1U : 0U;
    depth -= rest[end] == ')' && depth > 0 ? 1U : 0U;
    if (rest[end] == '.' && depth == 0) {
      break;
    }
  }
  const std::string_view step = rest.substr(0, end);
  rest = end < rest.size() ? rest.substr(end + 1) : std::string_view();
  return step;
}

}  // namespace

std::optional<std::vector<PathStep>> parse_discriminator_path(std::string_view path,
                                                              json::NameTable& names,
                                                              const TypeModel& types) {
  std::vector<PathStep> steps;
  while (!path.empty()) {
    const std::string_view text = take_step(path);
    PathStep step;
    if (text == "$this") {
      continue;
    }
    if (text == "resolve()") {
      step.kind = PathStep::Kind::kResolve;
    } else if (text.starts_with("extension(") && text.ends_with(")")) {
      step.kind = PathStep::Kind::kExtension;
      step.url = quoted_argument(text);
    } else if ((text.starts_with("ofType(") || text.starts_with("as(")) && text.ends_with(")")) {
      step.kind = PathStep::Kind::kOfType;
      const auto type = types.find(quoted_argument(text));
      if (!type) {
        return std::nullopt;
      }
      step.type = *type;
    } else {
      if (text.empty() || text.find_first_of("() '\"|=") != std::string_view::npos) {
        return std::nullopt;
      }
      step.stem = names.intern(TypeModelBuilder::stem_of(text));
    }
    steps.push_back(step);
  }
  return steps;
}

void SliceLinker::link(const ShapeElement& sliced) {
  auto& slicing = *const_cast<Slicing*>(sliced.slicing);
  const std::span<Slice> slices(const_cast<Slice*>(slicing.slices.data()), slicing.slices.size());
  for (Slice& slice : slices) {
    link_slice(slicing, slice);
  }
  const bool by_url = slicing.discriminators.size() == 1 &&
                      slicing.discriminators[0].kind == DiscriminatorKind::kValue &&
                      slicing.discriminators[0].path == "url";
  slicing.by_url = by_url && std::all_of(slices.begin(), slices.end(), [](const Slice& slice) {
                     return !slice.extension_url.empty();
                   });
}

void SliceLinker::link_slice(const Slicing& slicing, Slice& slice) {
  std::vector<SliceTest> tests;
  for (std::size_t i = 0; i < slicing.discriminators.size(); ++i) {
    const Discriminator& discriminator = slicing.discriminators[i];
    tests_of(discriminator, static_cast<std::uint8_t>(i), walk(*slice.element, discriminator.steps),
             tests);
  }
  slice.extension_url = extension_url_of(slice);
  for (SliceTest& test : tests) {
    const bool by_url = slicing.discriminators[test.discriminator].path == "url";
    if (test.kind == SliceTest::Kind::kUndecidable && by_url && !slice.extension_url.empty()) {
      test.kind = SliceTest::Kind::kFixed;
      test.value = store_.values.make_string(slice.extension_url);
    }
  }
  if (!tests.empty() && slice.tests.size() != tests.size()) {
    auto* stored = store_.arena.make_array<SliceTest>(tests.size());
    slice.tests = {stored, tests.size()};
  }
  std::copy(tests.begin(), tests.end(), const_cast<SliceTest*>(slice.tests.data()));
}

// The url that an extension slice stands for: fixed here, fixed by the extension's definition, or
// the canonical of a definition that is not loaded.
std::string_view SliceLinker::extension_url_of(const Slice& slice) const {
  const json::Name* url = catalog_.names().find("url");
  if (url == nullptr || slice.element->types.size() != 1 ||
      catalog_.types().info(slice.element->types[0].type).name != "Extension") {
    return {};
  }
  Places places;
  step_member({slice.element, nullptr, false, kNoType}, url, places);
  for (const Place& place : places) {
    if (place.element != nullptr && place.element->fixed != nullptr) {
      return place.element->fixed->text();
    }
  }
  const std::span<const ShapeRef> profiles = slice.element->types[0].profiles;
  return profiles.empty() ? std::string_view() : split_canonical(profiles[0].canonical).url;
}

SliceLinker::Places SliceLinker::walk(const ShapeElement& from,
                                      std::span<const PathStep> steps) const {
  Places places{{&from, nullptr, false, kNoType}};
  for (const PathStep& step : steps) {
    Places next;
    for (const Place& place : places) {
      switch (step.kind) {
        case PathStep::Kind::kMember:
          step_member(place, step.stem, next);
          break;
        case PathStep::Kind::kResolve:
          step_resolve(place, next);
          break;
        case PathStep::Kind::kExtension:
          step_extension(place, step.url, next);
          break;
        case PathStep::Kind::kOfType:
          step_type(place, step.type, next);
          break;
      }
    }
    places = std::move(next);
  }
  return places;
}

void SliceLinker::add_with_slices(const ShapeElement* element, Places& to) {
  to.push_back({element, nullptr, false, kNoType});
  if (element->slicing == nullptr) {
    return;
  }
  for (const Slice& slice : element->slicing->slices) {
    if (slice.element->min >= 1) {
      add_with_slices(slice.element, to);
    }
  }
}

namespace {

bool names_member(const TypeModel& types, const json::Node& member, const json::Name* stem,
                  TypeId type) {
  if (member.name == stem) {
    return true;
  }
  if (type == kNoType || member.name == nullptr || member.name->id == json::kLocalName) {
    return false;
  }
  const Member* known = types.member(type, member.name);
  return known != nullptr && types.info(type).elements[known->element].stem == stem;
}

}  // namespace

void SliceLinker::step_member(const Place& from, const json::Name* stem, Places& to) const {
  const TypeModel& types = catalog_.types();
  auto into_value = [&](const json::Node& value, bool fixed, TypeId type) {
    for (const json::Node& member : value) {
      if (!value.is_object() || !names_member(types, member, stem, type)) {
        continue;
      }
      if (!member.is_array()) {
        to.push_back({nullptr, &member, fixed, kNoType});
        continue;
      }
      for (const json::Node& item : member) {
        to.push_back({nullptr, &item, fixed, kNoType});
      }
    }
  };
  if (from.value != nullptr) {
    into_value(*from.value, from.fixed, kNoType);
    return;
  }
  const ShapeElement& element = *from.element;
  if (element.fixed != nullptr || element.pattern != nullptr) {
    into_value(element.fixed != nullptr ? *element.fixed : *element.pattern,
               element.fixed != nullptr, element.value_type);
  }
  auto into_children = [&](const ShapeElement* holder) {
    if (holder == nullptr || !holder->has_children()) {
      return;
    }
    const Element* wanted = types.element(holder->children_type, stem);
    if (wanted == nullptr) {
      return;
    }
    const auto index =
        static_cast<std::size_t>(wanted - types.info(holder->children_type).elements.data());
    if (const ShapeElement* child = holder->child(index)) {
      add_with_slices(child, to);
    }
  };
  if (element.is_root || (element.has_children() && from.only_type == kNoType)) {
    into_children(&element);
  }
  for (const TypeRef& type : element.types) {
    if (from.only_type != kNoType && !types.is_a(type.type, from.only_type)) {
      continue;
    }
    if (!element.is_root && (type.inner != &element || from.only_type != kNoType)) {
      into_children(type.inner);
    }
    for (const ShapeRef& profile : type.profiles) {
      if (profile.shape != nullptr) {
        into_children(&profile.shape->root());
      }
    }
  }
}

void SliceLinker::step_resolve(const Place& from, Places& to) const {
  if (from.element == nullptr) {
    return;
  }
  for (const TypeRef& type : from.element->types) {
    for (const ShapeRef& target : type.target_profiles) {
      if (target.shape != nullptr) {
        to.push_back({&target.shape->root(), nullptr, false, kNoType});
      }
    }
  }
}

void SliceLinker::step_extension(const Place& from, std::string_view url, Places& to) const {
  const json::Name* extension = catalog_.names().find("extension");
  if (extension == nullptr || from.element == nullptr) {
    return;
  }
  Places extensions;
  step_member(from, extension, extensions);
  const std::size_t before = to.size();
  for (const Place& place : extensions) {
    if (place.element == nullptr || place.element->slicing == nullptr) {
      continue;
    }
    for (const Slice& slice : place.element->slicing->slices) {
      if (extension_url_of(slice) == url) {
        to.push_back({slice.element, nullptr, false, kNoType});
      }
    }
  }
  if (to.size() == before) {
    if (const Shape* shape = catalog_.find_shape(url)) {
      to.push_back({&shape->root(), nullptr, false, kNoType});
    }
  }
}

void SliceLinker::step_type(const Place& from, TypeId type, Places& to) {
  Place place = from;
  place.only_type = type;
  to.push_back(place);
  if (from.element == nullptr || from.element->slicing == nullptr ||
      !from.element->slicing->by_type) {
    return;
  }
  for (const Slice& slice : from.element->slicing->slices) {
    if (slice.element->types.size() == 1 && slice.element->types[0].type == type) {
      to.push_back({slice.element, nullptr, false, kNoType});
    }
  }
}

void SliceLinker::tests_of(const Discriminator& discriminator, std::uint8_t index,
                           const Places& places, std::vector<SliceTest>& tests) const {
  const std::size_t before = tests.size();
  auto add = [&](SliceTest::Kind kind, const Place& place, const json::Node* value) {
    SliceTest test;
    test.kind = kind;
    test.discriminator = index;
    test.value = value;
    test.binding = place.element != nullptr ? place.element->binding : nullptr;
    test.element = place.element;
    tests.push_back(test);
  };
  using Kind = SliceTest::Kind;
  for (const Place& place : places) {
    const ShapeElement* element = place.element;
    switch (discriminator.kind) {
      case DiscriminatorKind::kValue:
      case DiscriminatorKind::kPattern:
        if (place.value != nullptr) {
          add(place.fixed ? Kind::kFixed : Kind::kPattern, place, place.value);
        } else if (element->fixed != nullptr) {
          add(Kind::kFixed, place, element->fixed);
        } else if (element->pattern != nullptr) {
          add(Kind::kPattern, place, element->pattern);
        }
        break;
      case DiscriminatorKind::kExists:
        if (element != nullptr && (element->max == 0 || element->min >= 1)) {
          add(element->max == 0 ? Kind::kAbsent : Kind::kExists, place, nullptr);
        }
        break;
      case DiscriminatorKind::kType:
        if (element != nullptr) {
          add(Kind::kType, place, nullptr);
        }
        break;
      case DiscriminatorKind::kProfile:
        if (element != nullptr) {
          add(element->is_root ? Kind::kConforms : Kind::kProfile, place, nullptr);
        }
        break;
    }
  }
  const bool by_value = discriminator.kind == DiscriminatorKind::kValue ||
                        discriminator.kind == DiscriminatorKind::kPattern;
  for (const Place& place : places) {
    if (tests.size() > before || !by_value || place.element == nullptr) {
      break;
    }
    const Binding* binding = place.element->binding;
    if (binding != nullptr && binding->strength == Strength::kRequired) {
      add(Kind::kBinding, place, nullptr);
    } else if (place.element->has_children() && place.element->shape->is_profile) {
      add(Kind::kConforms, place, nullptr);
    }
  }
  if (tests.size() == before) {
    SliceTest test;
    test.discriminator = index;
    test.element = places.empty() ? nullptr : places.front().element;
    tests.push_back(test);
  }
}

}  // namespace engine::shapes

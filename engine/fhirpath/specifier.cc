#include "engine/fhirpath/specifier.h"

#include <optional>
#include <utility>

#include "engine/fhirpath/function.h"

namespace engine::fhirpath {
namespace {

constexpr std::pair<std::string_view, ItemKind> kSystemTypes[] = {
    {"Boolean", ItemKind::kBoolean},   {"String", ItemKind::kString},
    {"Integer", ItemKind::kInteger},   {"Long", ItemKind::kInteger},
    {"Decimal", ItemKind::kDecimal},   {"Date", ItemKind::kDate},
    {"DateTime", ItemKind::kDateTime}, {"Time", ItemKind::kTime},
    {"Quantity", ItemKind::kQuantity},
};

bool fill_system(std::string_view name, const Types* types, TypeSpecifier& out) {
  if (name == "Any") {
    out.any = true;
    return true;
  }
  for (const auto& [known, kind] : kSystemTypes) {
    if (name == known) {
      out.system = kind;
      out.is_long = name == "Long";
      if (types != nullptr) {
        out.node_type =
            types->model().find("System." + std::string(name)).value_or(shapes::kNoType);
      }
      return true;
    }
  }
  return false;
}

// The dotted text of a tree of members; nullopt when it is anything else.
std::optional<std::string> dotted_name(const Tree& tree) {
  if (tree.op == Op::kMember) {
    return std::string(tree.name);
  }
  if (tree.op != Op::kPath) {
    return std::nullopt;
  }
  std::string name;
  for (std::uint32_t i = 0; i < tree.count; ++i) {
    if (tree.args[i]->op != Op::kMember) {
      return std::nullopt;
    }
    name += i == 0 ? "" : ".";
    name += tree.args[i]->name;
  }
  return name;
}

std::string_view nearest_type(std::string_view name, const Types& types) {
  std::string_view nearest;
  std::size_t best = 3;
  for (std::size_t i = 0; i < types.model().size(); ++i) {
    const std::string_view candidate = types.model().info(static_cast<shapes::TypeId>(i)).name;
    const std::size_t distance = edit_distance(name, candidate, best);
    if (distance < best) {
      best = distance;
      nearest = candidate;
    }
  }
  return nearest;
}

}  // namespace

base::Result<TypeSpecifier> read_specifier(const Tree& tree, const Types* types,
                                           base::Arena& arena) {
  const std::optional<std::string> written = dotted_name(tree);
  if (!written) {
    return base::Error(base::ErrorCode::kInvalid, "a type name is expected");
  }
  TypeSpecifier out;
  std::string_view name = arena.copy(*written);
  out.name = name;
  const bool only_system = name.starts_with("System.");
  const bool only_fhir = name.starts_with("FHIR.");
  if (only_system || only_fhir) {
    name = name.substr(name.find('.') + 1);
    out.name = name;
  }
  if (only_system) {
    if (fill_system(name, types, out)) {
      return out;
    }
    return base::Error(base::ErrorCode::kNotFound, "there is no type System." + std::string(name));
  }
  std::optional<shapes::TypeId> type;
  if (types != nullptr) {
    type = types->model().find(only_fhir ? "FHIR." + std::string(name) : std::string(name));
    if (type && types->model().info(*type).kind == shapes::TypeKind::kSystem) {
      type.reset();
    }
  }
  if (type) {
    out.node_type = *type;
    if (!only_fhir && name == "Quantity") {
      out.system = ItemKind::kQuantity;  // both name spaces have one, and 4 'mg' is meant by the
                                         // bare name too
    }
    return out;
  }
  if (!only_fhir && fill_system(name, types, out)) {
    return out;
  }
  if (types == nullptr) {
    return out;  // without a model any name may be a resource's
  }
  const std::string_view nearest = nearest_type(name, *types);
  return base::Error(
      base::ErrorCode::kNotFound,
      "there is no type '" + std::string(name) + "'" +
          (nearest.empty() ? "" : "; the nearest is '" + std::string(nearest) + "'"));
}

}  // namespace engine::fhirpath

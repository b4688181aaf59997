#include "engine/cli/catalog_host.h"

#include <string>

#include "engine/check/host.h"
#include "engine/fhir/issue.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using shapes::Membership;

Membership coded_in(const json::Node& coding, const shapes::ValueSet& set) {
  const std::string_view code = coding.string_at("code");
  return code.empty() ? Membership::kOut : set.contains(coding.string_at("system"), code);
}

// code and string are texts, a CodeableConcept has codings, a Coding or Quantity is one.
Membership node_in(const json::Node& node, const shapes::ValueSet& set) {
  if (node.is_string()) {
    return set.contains_code(node.text());
  }
  const json::Node* codings = node.find("coding");
  if (codings == nullptr || !codings->is_array()) {
    return coded_in(node, set);
  }
  Membership best = Membership::kOut;
  for (const json::Node& coding : *codings) {
    const Membership one = coded_in(coding, set);
    if (one == Membership::kIn) {
      return one;
    }
    best = one == Membership::kUnknown ? one : best;
  }
  return best;
}

}  // namespace

CatalogHost::CatalogHost(const shapes::Catalog& catalog)
    : catalog_(catalog), checker_(catalog), definitions_(catalog) {}

base::Result<bool> CatalogHost::member_of(const fhirpath::Item& coded,
                                          std::string_view value_set) const {
  const shapes::ValueSet* set = catalog_.find_value_set(value_set);
  if (set == nullptr) {
    return Error(ErrorCode::kNotFound,
                 "the value set " + std::string(value_set) + " is not loaded");
  }
  Membership membership = Membership::kOut;
  if (coded.kind == fhirpath::ItemKind::kString) {
    membership = set->contains_text(coded.text());
  } else if (coded.is_node() && coded.at.node != nullptr) {
    membership = node_in(*coded.at.node, *set);
  }
  if (membership == Membership::kUnknown) {
    return Error(ErrorCode::kNotFound,
                 "the value set " + std::string(value_set) + " cannot be decided here");
  }
  return membership == Membership::kIn;
}

base::Result<bool> CatalogHost::conforms_to(const fhirpath::Item& item, std::string_view profile,
                                            const fhirpath::Types* types) const {
  const shapes::Shape* shape = catalog_.find_shape(profile);
  if (shape == nullptr || !shape->is_profile) {
    return Host::conforms_to(item, profile, types);
  }
  if (!item.is_node() || item.at.node == nullptr ||
      !catalog_.types().is_a(item.type, shape->type)) {
    return false;
  }
  if (shape->kind != shapes::TypeKind::kResource) {
    return Error(ErrorCode::kUnsupported,
                 "conformsTo() with a profile is answered for resources; this is one of a " +
                     std::string(catalog_.types().info(shape->type).name));
  }
  const std::string_view wanted[] = {profile};
  const check::Options options{
      .profiles = wanted, .others = {}, .text = {}, .now = {}, .notes = false};
  return !fhir::has_errors(checker_.check(*item.at.node, options, scratch_));
}

fhirpath::Item CatalogHost::element_definition(const fhirpath::Item& item) const {
  return check::definition_of(item, definitions_, catalog_);
}

base::Result<bool> CatalogHost::in_slice(const fhirpath::Item& item, std::string_view profile,
                                         std::string_view slice) const {
  if (!item.is_node()) {
    return false;
  }
  return checker_.in_slice(item.at.node, item.at.companion, item.type, profile, slice, scratch_);
}

}  // namespace engine::cli

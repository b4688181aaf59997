#pragma once
// What FHIRPath may ask of the walk that evaluates it.

#include <memory>

#include "engine/check/walk.h"
#include "engine/fhirpath/fhirpath.h"
#include "engine/shapes/element_definition.h"

namespace engine::check {

class WalkHost : public fhirpath::Host {
 public:
  explicit WalkHost(Walk& walk) : walk_(walk) {}

  fhirpath::Item resolve(std::string_view reference, const fhirpath::Item& from) const override;
  base::Result<bool> member_of(const fhirpath::Item& coded,
                               std::string_view value_set) const override;
  base::Result<bool> conforms_to(const fhirpath::Item& item, std::string_view profile,
                                 const fhirpath::Types* types) const override;
  fhirpath::Item element_definition(const fhirpath::Item& item) const override;
  base::Result<bool> in_slice(const fhirpath::Item& item, std::string_view profile,
                              std::string_view slice) const override;

 private:
  Walk& walk_;
  // Made when an expression asks; its nodes live as long as the evaluation.
  mutable std::unique_ptr<shapes::ElementDefinitions> definitions_;
};

// The ElementDefinition that an item of a resource follows, from its type's own definition;
// kNothing for what stands in no resource.
fhirpath::Item definition_of(const fhirpath::Item& item, shapes::ElementDefinitions& definitions,
                             const shapes::Catalog& catalog);

}  // namespace engine::check

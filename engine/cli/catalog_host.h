#pragma once
// What FHIRPath asks of the world, answered from the loaded catalog: memberOf() by its value sets,
// conformsTo() and slice() by the checker, elementDefinition() by the shapes. Not thread safe.

#include <string_view>

#include "engine/base/result.h"
#include "engine/check/check.h"
#include "engine/fhirpath/fhirpath.h"
#include "engine/shapes/catalog.h"
#include "engine/shapes/element_definition.h"

namespace engine::cli {

class CatalogHost : public fhirpath::Host {
 public:
  // The catalog is frozen and outlives the host.
  explicit CatalogHost(const shapes::Catalog& catalog);

  // Errors: kNotFound when the set is not loaded or cannot be decided with what is.
  base::Result<bool> member_of(const fhirpath::Item& coded,
                               std::string_view value_set) const override;
  // Of a base type any item; of a profile resources only. Errors: kNotFound, kUnsupported.
  base::Result<bool> conforms_to(const fhirpath::Item& item, std::string_view profile,
                                 const fhirpath::Types* types) const override;
  // From the definition of the type; lives as long as the host.
  fhirpath::Item element_definition(const fhirpath::Item& item) const override;
  // Errors: kNotFound for a profile or slice that is not known.
  base::Result<bool> in_slice(const fhirpath::Item& item, std::string_view profile,
                              std::string_view slice) const override;

 private:
  const shapes::Catalog& catalog_;
  check::Checker checker_;
  mutable check::Scratch scratch_;
  mutable shapes::ElementDefinitions definitions_;
};

}  // namespace engine::cli

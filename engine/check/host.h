#pragma once
// What FHIRPath may ask of the walk that evaluates it.

#include "engine/check/walk.h"
#include "engine/fhirpath/fhirpath.h"

namespace engine::check {

class WalkHost : public fhirpath::Host {
 public:
  explicit WalkHost(Walk& walk) : walk_(walk) {}

  fhirpath::Item resolve(std::string_view reference, const fhirpath::Item& from) const override;
  base::Result<bool> member_of(const fhirpath::Item& coded,
                               std::string_view value_set) const override;
  base::Result<bool> conforms_to(const fhirpath::Item& item, std::string_view profile,
                                 const fhirpath::Types* types) const override;

 private:
  Walk& walk_;
};

}  // namespace engine::check

// Invariants of R4 that misfire, as they are published, and what is evaluated instead: one table.
// Sources: the corrected texts of FHIR R4B and R5 where they exist; otherwise the reason given.

#include "engine/check/rules.h"

namespace engine::check {
namespace {

constexpr Mend kMends[] = {
    {"ref-1",
     "reference.startsWith('#').not() or (reference.substring(1).trace('url') in "
     "%rootResource.contained.id.trace('ids'))",
     "reference.exists() implies (reference = '#' or reference.startsWith('#').not() or "
     "(reference.substring(1) in %rootResource.contained.id) or "
     "(reference.substring(1) in %resource.contained.id))",
     "empty without a literal reference; # alone names the container (R5 wraps it alike)"},
    {"bdl-8", "fullUrl.contains('/_history/').not()",
     "fullUrl.exists() implies fullUrl.contains('/_history/').not()",
     "empty without a fullUrl (text of R4B and R5)"},
    {"per-1", "start.hasValue().not() or end.hasValue().not() or (start <= end)",
     "start.hasValue().not() or end.hasValue().not() or "
     "(start.lowBoundary() <= end.highBoundary())",
     "empty when the two are not equally precise (text of R5)"},
    {"rng-2", "low.empty() or high.empty() or (low <= high)",
     "low.empty() or high.empty() or ((low <= high) = false).not() or (low <= high).empty()",
     "empty when the units do not compare; only a definite no counts"},
    {"vs-1", "($this as dateTime).toString().length() >= 8",
     "($this is dateTime).not() or ($this as dateTime).toString().length() >= 8",
     "empty for a Period, which the profile allows"},
    {"que-7", "operator = 'exists' implies (answer is Boolean)",
     "operator = 'exists' implies (answer is boolean)",
     "Boolean is the system type; an answer is a FHIR boolean"},
    {"tim-9", "offset.empty() or (when.exists() and ((when in ('C' | 'CM' | 'CD' | 'CV')).not()))",
     "offset.empty() or (when.exists() and when.all(($this in ('C' | 'CM' | 'CD' | 'CV')).not()))",
     "in takes one item on its left, and when repeats"},
    {"con-3",
     "clinicalStatus.exists() or "
     "verificationStatus.coding.where(system='http://terminology.hl7.org/CodeSystem/"
     "condition-ver-status' and code = 'entered-in-error').exists() or "
     "category.select($this='problem-list-item').empty()",
     "clinicalStatus.exists() or "
     "verificationStatus.coding.where(system='http://terminology.hl7.org/CodeSystem/"
     "condition-ver-status' and code = 'entered-in-error').exists() or "
     "category.coding.where(code='problem-list-item').empty()",
     "compares a CodeableConcept with a text"},
    {"ras-2", "probability is decimal implies (probability as decimal) <= 100",
     "probability.empty() or (probability is decimal implies (probability as decimal) <= 100)",
     "empty without a probability"},
    {"sdf-0", "name.matches('[A-Z]([A-Za-z0-9_]){0,254}')",
     "name.exists() implies name.matches('^[A-Z]([A-Za-z0-9_]){0,254}$')",
     "matches() is not anchored"},
    {"vsd-0", "name.matches('[A-Z]([A-Za-z0-9_]){0,254}')",
     "name.exists() implies name.matches('^[A-Z]([A-Za-z0-9_]){0,254}$')", "empty without a name"},
    {"csd-0", "name.matches('[A-Z]([A-Za-z0-9_]){0,254}')",
     "name.exists() implies name.matches('^[A-Z]([A-Za-z0-9_]){0,254}$')", "empty without a name"},
    {"que-0", "name.matches('[A-Z]([A-Za-z0-9_]){0,254}')",
     "name.exists() implies name.matches('^[A-Z]([A-Za-z0-9_]){0,254}$')", "empty without a name"},
};

}  // namespace

std::span<const Mend> mends() {
  return kMends;
}

}  // namespace engine::check

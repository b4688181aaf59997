#pragma once
// Search (FHIR R4 search): parameters turned into criteria, criteria matched against the facts of
// the records. Served: token, reference (with :identifier, a type modifier and one chained
// ".identifier"), date prefixes, text (starts with; :exact, :contains), :missing, :not; commas are
// "or", repeated parameters "and".

#include <string>
#include <string_view>
#include <vector>

#include "sandbox/record_server/store.h"
#include "sandbox/record_server/target.h"

namespace sandbox::record_server {

struct Criterion {
  std::string name;
  std::string modifier;  // "not", "missing", "identifier", "exact", "contains", a type; or empty
  bool chained = false;  // "patient.identifier"
  std::vector<std::string> alternatives;
  FactKind kind = FactKind::kToken;
};

struct Query {
  std::string type;
  std::vector<Criterion> criteria;
  Parameters understood;  // what took effect, for the self link
};

enum class UnknownParameters : unsigned char { kIgnore, kRefuse };

// Parameters that steer the answer (_count, _format and the like) are left to the caller. Throws
// Refusal 400.
Query parse_search(std::string_view type, const Parameters& parameters, UnknownParameters unknown,
                   std::string_view base_url);
// The matches in the order they were created; deleted ones are never among them.
std::vector<const Record*> find_matches(const Store& store, const Query& query);
// For conditional interactions: the query must hold at least one criterion, and all must be known.
std::vector<const Record*> find_conditional(const Store& store, std::string_view type,
                                            std::string_view query, std::string_view base_url);

}  // namespace sandbox::record_server

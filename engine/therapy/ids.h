#pragma once
// Names that the engine makes: ids from the session's identifier, the entry's id and a fixed role,
// and the conditional addresses of a transaction. The same names always give the same id, so that
// a corrected value lands on the resource it corrects and a re-send makes no double.
// Source: RFC 9562 UUID version 5; FHIR R4 transaction rules, search parameter escaping.

#include <string>
#include <string_view>

#include "engine/base/hash.h"

namespace engine::therapy {

// The name space of one session.
base::Uuid session_space(std::string_view system, std::string_view value);
// The id of what plays `role` in an entry; an empty entry id means the session itself.
base::Uuid entry_role_id(const base::Uuid& session, std::string_view entry, std::string_view role);

// "identifier=system|value", escaped for a search.
std::string identifier_query(std::string_view system, std::string_view value);

}  // namespace engine::therapy

#pragma once
// What may be destroyed, and what must be kept: legal holds, and what a destroying record takes.

#include <string>
#include <string_view>
#include <vector>

#include "engine/journal/destruction.h"
#include "engine/journal/sql.h"

namespace engine::journal::keeping {

// Of a destruction that does not take place: codes for the record's reason.
inline constexpr const char* kOnHold = "legal-hold";
inline constexpr const char* kUnsent = "unsent";
inline constexpr const char* kNothing = "nothing";
// The reason of a shredding that was to take place although not everything was sent.
inline constexpr const char* kEvenUnsent = "even-unsent";

struct Taken {
  Destruction what;
  std::string refused;  // one of the codes above when there is nothing in `what`
};

// The legal holds that stand, oldest first.
base::Result<std::vector<Record>> holds(sql::Connection& connection);

// All bodies of a patient: the data keys of what is sealed, the records of what is not. Refused
// while a hold stands, also on somebody else whom a session of theirs was about, or, without
// `even_unsent`, while a revision of the patient has not ended.
base::Result<Taken> of_patient(sql::Connection& connection, std::string_view patient,
                               bool even_unsent);

// Bodies of before `cutoff` (an instant): of records about no session, and of sessions of which
// nothing is open or held and nothing was written since, looking apart. What is on hold stays. Of
// at most so many records, the oldest.
base::Result<Taken> outdated(sql::Connection& connection, std::string_view cutoff,
                             std::size_t records);

}  // namespace engine::journal::keeping

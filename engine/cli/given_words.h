#pragma once
// What people write on the command lines of the journal: instants, the names of patients and
// therapists, their own name. One check for all commands.

#include <string>

#include "engine/base/result.h"

namespace engine::cli {

// Both bounds of a time, as fhir/instant.h has them. Errors: kInvalid.
base::Result<void> put_in_utc(std::string& since, std::string& until);

// That it is SYSTEM|VALUE, or empty. Errors: kInvalid, without the text: it may name a patient all
// the same. `whose`: "patient".
base::Result<void> check_identifier(const std::string& text, const char* whose);

// Who runs this command: the name they give themselves (by default that of their account), with
// what the system says (journal::command_actor). Errors: kInvalid for a name that is no line.
base::Result<std::string> actor_of(const std::string& name);
// "user robin", for who gives no name.
std::string account_name();

}  // namespace engine::cli

#pragma once
// Errors as FHIR OperationOutcomes with a status.

#include <string>

#include "engine/base/result.h"
#include "engine/web/http_message.h"

namespace engine::web {

// An OperationOutcome of one error. `code`: of FHIR's IssueType.
Response problem(int status, std::string code, std::string text);
// The answer to an error of the shell.
Response from_error(const base::Error& error);

}  // namespace engine::web

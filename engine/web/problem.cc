#include "engine/web/problem.h"

#include <utility>

#include "engine/base/limits.h"
#include "engine/intake/intake.h"

namespace engine::web {

Response problem(int status, std::string code, std::string text) {
  Response response(status, "application/fhir+json",
                    intake::problem_text(std::move(code), std::move(text)));
  if (status == 503 || status == 429) {
    response.set("Retry-After", std::to_string(base::limits::kSenderPause.count()));
  }
  return response;
}

Response from_error(const base::Error& error) {
  switch (error.code) {
    case base::ErrorCode::kNotFound:
      return problem(404, "not-found", error.detail);
    case base::ErrorCode::kConflict:
      return problem(409, "conflict", error.detail);
    case base::ErrorCode::kInvalid:
      return problem(422, "business-rule", error.detail);
    default:
      return problem(503, "transient", "the journal cannot be read or written just now");
  }
}

}  // namespace engine::web

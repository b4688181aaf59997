#include <utility>

#include "engine/fhir/issue.h"
#include "engine/intake/intake.h"
#include "engine/json/write.h"

namespace engine::intake {

std::string receipt_text(const std::string& session, std::uint32_t revision, std::string_view state,
                         journal::Position position, const std::string& received) {
  std::string out = "{\"session\":";
  json::write_string(session, out);
  out += ",\"revision\":" + std::to_string(revision) + ",\"state\":";
  json::write_string(state, out);
  out += ",\"position\":" + std::to_string(position) + ",\"received\":";
  json::write_string(received, out);
  return out + "}";
}

std::string problem_text(std::string code, std::string text) {
  fhir::Issue issue;
  issue.severity = fhir::Severity::kError;
  issue.code = std::move(code);
  issue.text = std::move(text);
  return fhir::to_operation_outcome({&issue, 1});
}

}  // namespace engine::intake

#include "engine/fhir/issue.h"

#include <algorithm>

#include "engine/json/write.h"

namespace engine::fhir {

std::string_view name_of(Severity severity) {
  switch (severity) {
    case Severity::kFatal:
      return "fatal";
    case Severity::kError:
      return "error";
    case Severity::kWarning:
      return "warning";
    case Severity::kInformation:
      return "information";
  }
  return "error";
}

bool has_errors(std::span<const Issue> issues) {
  return std::any_of(issues.begin(), issues.end(), [](const Issue& issue) {
    return issue.severity == Severity::kFatal || issue.severity == Severity::kError;
  });
}

std::string to_operation_outcome(std::span<const Issue> issues) {
  std::string out = R"({"resourceType":"OperationOutcome","issue":[)";
  if (issues.empty()) {
    out +=
        R"({"severity":"information","code":"informational","details":{"text":"No issue was found."}})";
  }
  for (std::size_t i = 0; i < issues.size(); ++i) {
    const Issue& issue = issues[i];
    out += i == 0 ? "{" : ",{";
    out += R"("severity":)";
    json::write_string(name_of(issue.severity), out);
    out += R"(,"code":)";
    json::write_string(issue.code, out);
    if (!issue.text.empty()) {
      out += R"(,"details":{"text":)";
      json::write_string(issue.text, out);
      out += '}';
    }
    std::string diagnostics = issue.rule;
    if (issue.position) {
      diagnostics += (diagnostics.empty() ? "" : " ") + std::string("at ") +
                     std::to_string(issue.position->line) + ':' +
                     std::to_string(issue.position->column);
    }
    if (!diagnostics.empty()) {
      out += R"(,"diagnostics":)";
      json::write_string(diagnostics, out);
    }
    if (!issue.expression.empty()) {
      out += R"(,"expression":[)";
      json::write_string(issue.expression, out);
      out += ']';
    }
    out += '}';
  }
  out += "]}";
  return out;
}

}  // namespace engine::fhir

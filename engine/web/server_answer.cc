#include "engine/web/server_answer.h"

#include <algorithm>

#include "engine/base/utf8.h"
#include "engine/fhir/issue.h"
#include "engine/json/document.h"

namespace engine::web {
namespace {

constexpr std::size_t kQuotedBytesMax = 4096;

bool is_outcome(std::string_view answer) {
  static const json::NameTable names;
  json::Document document(names);
  if (!document.parse(answer) || document.root()->string_at("resourceType") != "OperationOutcome") {
    return false;
  }
  const json::Node* issues = document.root()->find("issue");
  return issues != nullptr && issues->is_array() && issues->first != nullptr;
}

}  // namespace

std::string as_utf8(std::string_view answer) {
  std::string out;
  while (!answer.empty()) {
    const std::size_t good = base::find_invalid_utf8(answer).value_or(answer.size());
    out.append(answer.substr(0, good));
    answer.remove_prefix(good);
    if (!answer.empty()) {
      out += "\xEF\xBF\xBD";
      answer.remove_prefix(1);
    }
  }
  return out;
}

std::string as_outcome(std::string_view answer) {
  if (is_outcome(answer)) {
    return std::string(answer);
  }
  fhir::Issue issue;
  issue.code = "processing";
  issue.text = "The record server answered: " + as_utf8(answer.substr(0, kQuotedBytesMax)) +
               (answer.size() > kQuotedBytesMax ? "..." : "");
  return fhir::to_operation_outcome({&issue, 1});
}

}  // namespace engine::web

#include <utility>

#include "engine/base/hash.h"
#include "engine/fhir/issue.h"
#include "engine/intake/intake.h"
#include "engine/json/document.h"
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

base::Result<std::string> content_hash(std::string_view body) {
  static const json::NameTable names;
  json::Document document(names);
  if (auto parsed = document.parse(body); !parsed) {
    return parsed.error();
  }
  return base::sha256_hex(json::to_canonical_text(*document.root()));
}

}  // namespace engine::intake

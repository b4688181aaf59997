#include "sandbox/record_server/message.h"

#include <algorithm>
#include <array>
#include <cctype>

#include "engine/fhir/issue.h"

namespace sandbox::record_server {
namespace {

struct Reason {
  int status;
  std::string_view text;
};
constexpr std::array kReasons = {
    Reason{200, "OK"},
    Reason{201, "Created"},
    Reason{204, "No Content"},
    Reason{304, "Not Modified"},
    Reason{400, "Bad Request"},
    Reason{404, "Not Found"},
    Reason{405, "Method Not Allowed"},
    Reason{406, "Not Acceptable"},
    Reason{409, "Conflict"},
    Reason{410, "Gone"},
    Reason{412, "Precondition Failed"},
    Reason{413, "Payload Too Large"},
    Reason{415, "Unsupported Media Type"},
    Reason{422, "Unprocessable Entity"},
    Reason{429, "Too Many Requests"},
    Reason{500, "Internal Server Error"},
    Reason{503, "Service Unavailable"},
};

bool same_in_any_case(std::string_view a, std::string_view b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](unsigned char x, unsigned char y) {
    return std::tolower(x) == std::tolower(y);
  });
}

}  // namespace

std::string_view header_of(const Headers& headers, std::string_view name) {
  for (const auto& [key, value] : headers) {
    if (same_in_any_case(key, name)) {
      return value;
    }
  }
  return {};
}

std::string status_line(int status) {
  std::string line = std::to_string(status);
  for (const Reason& reason : kReasons) {
    if (reason.status == status) {
      line += ' ';
      line += reason.text;
    }
  }
  return line;
}

Response answer_of(const Refusal& refusal) {
  engine::fhir::Issue issue;
  issue.code = refusal.code;
  issue.text = refusal.text;
  issue.expression = refusal.expression;
  Response response;
  response.status = refusal.status;
  response.headers.emplace_back("Content-Type", "application/fhir+json");
  response.body = engine::fhir::to_operation_outcome({&issue, 1});
  return response;
}

}  // namespace sandbox::record_server

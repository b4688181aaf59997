#pragma once
// Requests and answers of the record server, free of any transport: the server is a synchronous
// function from one to the other. Also the one way out for everything that is refused.

#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace sandbox::record_server {

using Headers = std::vector<std::pair<std::string, std::string>>;

// The value of a header by its name in any case; empty when absent.
std::string_view header_of(const Headers& headers, std::string_view name);

struct Request {
  std::string method;
  std::string target;  // path and query as on the request line
  Headers headers;
  std::string body;
};

struct Response {
  int status = 200;
  Headers headers;
  std::string body;
};

// Thrown inside this library only, and turned into an OperationOutcome by RecordServer::handle.
struct Refusal {
  int status;
  std::string code;  // FHIR R4 issue-type
  std::string text;
  std::string expression;  // FHIRPath of the place; may be empty

  Refusal(int s, std::string c, std::string t, std::string e = {})
      : status(s), code(std::move(c)), text(std::move(t)), expression(std::move(e)) {}
};

Response answer_of(const Refusal& refusal);
// "201 Created", the form of Bundle.entry.response.status.
std::string status_line(int status);

}  // namespace sandbox::record_server

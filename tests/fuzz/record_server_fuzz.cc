// Requests to the sandbox's record server: "METHOD target", a line each for the condition (or an
// empty one) and the body, and so on. What is refused leaves no trace, and every answer is JSON.
// links: sandbox_record_server

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

#include "engine/base/check.h"
#include "sandbox/record_server/record_server.h"

namespace {

using sandbox::record_server::Answered;
using sandbox::record_server::RecordServer;
using sandbox::record_server::Request;

class StillClock : public engine::base::Clock {
 public:
  std::chrono::system_clock::time_point now() const override { return {}; }
  std::chrono::steady_clock::time_point steady() const override { return {}; }
};

std::string_view take_line(std::string_view& text) {
  const std::size_t end = text.find('\n');
  const std::string_view line = text.substr(0, end);
  text = end == std::string_view::npos ? std::string_view() : text.substr(end + 1);
  return line;
}

std::size_t versions_of(const RecordServer& server) {
  std::size_t count = 0;
  for (const auto& record : server.store().records()) {
    count += record.versions.size();
  }
  return count;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const StillClock clock;
  const engine::json::NameTable names;
  RecordServer server("http://h/fhir", clock);
  std::string_view text(reinterpret_cast<const char*>(data), size);
  while (!text.empty()) {
    const std::string_view first = take_line(text);
    const std::string condition(take_line(text));
    Request request;
    request.method = first.substr(0, first.find(' '));
    request.target = first.find(' ') == std::string_view::npos
                         ? std::string()
                         : "/fhir" + std::string(first.substr(first.find(' ') + 1));
    request.headers = {{"Content-Type", "application/fhir+json"},
                       {"If-None-Exist", condition},
                       {"If-Match", condition}};
    request.body = take_line(text);
    const std::size_t before = versions_of(server);
    const Answered answered = server.handle(request);
    ENGINE_CHECK(answered.response.status < 400 || versions_of(server) == before);
    engine::json::Document document(names);
    ENGINE_CHECK(answered.response.body.empty() || document.parse(answered.response.body));
  }
  return 0;
}

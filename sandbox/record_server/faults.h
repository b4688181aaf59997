#pragma once
// Fault switches: a list of rules, set while the server runs, that make it misbehave the way real
// servers and the networks before them do. Which request is hit depends only on the order of
// requests, never on chance.

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/json/node.h"
#include "sandbox/record_server/message.h"

namespace sandbox::record_server {

enum class FaultAction : unsigned char {
  kStatus,             // answers with a status and an OperationOutcome; nothing is done
  kStatusAfterCommit,  // does it all, then answers as kStatus
  kDropBeforeCommit,   // closes the connection; nothing is done
  kDropAfterCommit,    // does it all, then closes the connection without an answer
  kHtml,               // 200 with an HTML page, as a captive portal answers; nothing is done
  kHtmlAfterCommit,    // does it all, then answers as kHtml
  kSlowBody,           // does it all, then sends the body in small pieces
  kLatency,            // does it all, later
};

struct FaultRule {
  FaultAction action = FaultAction::kStatus;
  int status = 503;
  std::optional<int> retry_after_seconds;
  std::chrono::milliseconds delay{0};
  std::uint64_t skip = 0;              // lets so many matching requests pass first
  std::uint64_t every = 1;             // then hits each so-many-th
  std::optional<std::uint64_t> times;  // at most so often; without it for ever
  std::string method;                  // of the requests it is for; empty for all
  std::string path;                    // start of the target below the base; empty for all
  bool transactions = false;           // only for bundles that are posted to the base
  std::uint64_t seen = 0;
  std::uint64_t fired = 0;
};

std::string_view name_of(FaultAction action);

class FaultPlan {
 public:
  // Replaces the rules by those of
  // {"faults":[{"action","status","retryAfter","delayMs","skip","every","times",
  // "method","path","transactions"}]}; an empty list means a server that behaves. Throws Refusal
  // 400.
  void set(const engine::json::Node& body);
  // The rule that hits this request, if any: the first in the list that applies; its count moves
  // on.
  std::optional<FaultRule> next(std::string_view method, std::string_view path);
  // The rules with their counts, as JSON.
  std::string describe() const;

 private:
  std::vector<FaultRule> rules_;
};

}  // namespace sandbox::record_server

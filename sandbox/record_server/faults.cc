#include "sandbox/record_server/faults.h"

#include <array>
#include <charconv>

#include "engine/json/write.h"

namespace sandbox::record_server {
namespace {

using engine::json::Node;
using enum FaultAction;

struct ActionName {
  FaultAction action;
  std::string_view name;
};
constexpr std::array kActions = {
    ActionName{kStatus, "status"},
    ActionName{kStatusAfterCommit, "status-after-commit"},
    ActionName{kDropBeforeCommit, "drop-before-commit"},
    ActionName{kDropAfterCommit, "drop-after-commit"},
    ActionName{kHtml, "html"},
    ActionName{kHtmlAfterCommit, "html-after-commit"},
    ActionName{kSlowBody, "slow-body"},
    ActionName{kLatency, "latency"},
};

// A whole number of at most a day's milliseconds.
std::uint64_t number_of(const Node& node) {
  const std::string_view text = node.text();
  std::uint64_t value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (!node.is_number() || error != std::errc() || end != text.data() + text.size() ||
      value > 86'400'000) {
    throw Refusal(400, "value", "'" + std::string(node.name_text()) + "' needs a whole number.");
  }
  return value;
}

FaultAction action_of(const Node& node) {
  for (const ActionName& row : kActions) {
    if (node.is_string() && row.name == node.text()) {
      return row.action;
    }
  }
  throw Refusal(400, "value", "There is no such fault action.");
}

void read_member(const Node& member, FaultRule& rule) {
  const std::string_view name = member.name_text();
  if (name == "action") {
    rule.action = action_of(member);
  } else if (name == "status") {
    rule.status = static_cast<int>(number_of(member));
  } else if (name == "retryAfter") {
    rule.retry_after_seconds = static_cast<int>(number_of(member));
  } else if (name == "delayMs") {
    rule.delay = std::chrono::milliseconds(number_of(member));
  } else if (name == "skip") {
    rule.skip = number_of(member);
  } else if (name == "every") {
    rule.every = number_of(member);
  } else if (name == "times") {
    rule.times = number_of(member);
  } else if (name == "method") {
    rule.method = member.text();
  } else if (name == "path") {
    rule.path = member.text();
  } else if (name == "transactions") {
    rule.transactions = member.is_boolean() && member.boolean;
  } else {
    throw Refusal(400, "structure", "A fault has no member '" + std::string(name) + "'.");
  }
}

}  // namespace

std::string_view name_of(FaultAction action) {
  for (const ActionName& row : kActions) {
    if (row.action == action) {
      return row.name;
    }
  }
  return "";
}

void FaultPlan::set(const Node& body) {
  const Node* list = body.find("faults");
  if (list == nullptr || !list->is_array()) {
    throw Refusal(400, "structure", "An object with an array 'faults' is needed.");
  }
  std::vector<FaultRule> rules;
  for (const Node& item : *list) {
    FaultRule rule;
    for (const Node& member : item) {
      read_member(member, rule);
    }
    if (item.find("action") == nullptr || rule.every == 0 || rule.status < 100 ||
        rule.status > 599) {
      throw Refusal(400, "value", "A fault needs an action, 'every' from 1, a status of HTTP.");
    }
    rules.push_back(std::move(rule));
  }
  rules_ = std::move(rules);
}

std::optional<FaultRule> FaultPlan::next(std::string_view method, std::string_view path) {
  for (FaultRule& rule : rules_) {
    const bool transaction = method == "POST" && (path.empty() || path == "/");
    const bool meant = (rule.method.empty() || rule.method == method) &&
                       path.starts_with(rule.path) && (transaction || !rule.transactions) &&
                       (!rule.times || rule.fired < *rule.times);
    if (!meant) {
      continue;
    }
    ++rule.seen;
    if (rule.seen > rule.skip && (rule.seen - rule.skip) % rule.every == 0) {
      ++rule.fired;
      return rule;
    }
  }
  return std::nullopt;
}

std::string FaultPlan::describe() const {
  std::string out = "[";
  for (const FaultRule& rule : rules_) {
    out += out.size() > 1 ? ",{" : "{";
    out += R"("action":")" + std::string(name_of(rule.action)) + R"(","seen":)" +
           std::to_string(rule.seen) + R"(,"fired":)" + std::to_string(rule.fired) + '}';
  }
  return out + ']';
}

}  // namespace sandbox::record_server

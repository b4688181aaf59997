#include "engine/delivery/verdict.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <ctime>
#include <optional>
#include <string_view>
#include <utility>

#include "engine/base/limits.h"
#include "engine/delivery/location.h"
#include "engine/json/document.h"

namespace engine::delivery {
namespace {

using Action = Verdict::Action;
using std::chrono::milliseconds;

const json::NameTable& names() {
  static const json::NameTable table;
  return table;
}

struct StatusRow {
  int status;
  Action action;
  std::string_view reason;
};
// What a status means when no OperationOutcome says it better.
constexpr std::array<StatusRow, 23> kStatuses = {{
    {202, Action::kHold, "unexpected-answer"},
    {400, Action::kHold, "refused"},
    {401, Action::kPauseTarget, "sign-in-refused"},
    {403, Action::kHold, "forbidden"},
    {404, Action::kPauseTarget, "endpoint-unknown"},
    {405, Action::kPauseTarget, "no-transactions"},
    {406, Action::kPauseTarget, "media-type"},
    {408, Action::kRetry, "server-timeout"},
    {409, Action::kRetry, "conflict"},
    {410, Action::kHold, "gone"},
    {412, Action::kHold, "version-conflict"},
    {413, Action::kHold, "too-large"},
    {414, Action::kHold, "too-large"},
    {415, Action::kPauseTarget, "media-type"},
    {422, Action::kHold, "refused"},
    {423, Action::kRetry, "locked"},
    {425, Action::kRetry, "too-early"},
    {429, Action::kPauseTarget, "throttled"},
    {500, Action::kRetry, "server-error"},
    {501, Action::kPauseTarget, "no-transactions"},
    {502, Action::kPauseTarget, "unavailable"},
    {503, Action::kPauseTarget, "unavailable"},
    {504, Action::kPauseTarget, "unavailable"},
}};

// FHIR R4 issue-type: the children of `transient`.
constexpr std::array<std::string_view, 6> kTransient = {"lock-error", "no-store",   "exception",
                                                        "timeout",    "incomplete", "throttled"};

struct OutcomeFacts {
  bool present = false;
  bool not_found = false;
  bool several = false;
  bool conflict = false;
  bool names_patient = false;
  bool transient = false;
  bool too_large = false;
};

// The bundle as a whole, and not one value that does not fit where it belongs.
bool is_too_large(const json::Node& issue) {
  const std::string_view code = issue.string_at("code");
  return (code == "too-long" || code == "too-costly") && issue.find("expression") == nullptr &&
         issue.find("location") == nullptr;
}

bool mentions_patient(const json::Node& issue) {
  const json::Node* details = issue.find("details");
  const std::string_view texts[] = {issue.string_at("diagnostics"), details != nullptr
                                                                        ? details->string_at("text")
                                                                        : std::string_view()};
  return std::any_of(std::begin(texts), std::end(texts), [](std::string_view text) {
    return text.find("Patient") != std::string_view::npos;
  });
}

OutcomeFacts read_outcome(std::string_view body) {
  OutcomeFacts facts;
  json::Document document(names());
  if (!document.parse(body).has_value() ||
      document.root()->string_at("resourceType") != "OperationOutcome") {
    return facts;
  }
  facts.present = true;
  const json::Node* issues = document.root()->find("issue");
  if (issues == nullptr || !issues->is_array()) {
    return facts;
  }
  for (const json::Node& issue : *issues) {
    const std::string_view severity = issue.string_at("severity");
    if (severity != "error" && severity != "fatal") {
      continue;
    }
    const std::string_view code = issue.string_at("code");
    facts.not_found = facts.not_found || code == "not-found";
    facts.several = facts.several || code == "multiple-matches";
    facts.conflict = facts.conflict || code == "conflict" || code == "duplicate";
    facts.names_patient = facts.names_patient || mentions_patient(issue);
    facts.too_large = facts.too_large || is_too_large(issue);
    facts.transient = facts.transient ||
                      std::find(kTransient.begin(), kTransient.end(), code) != kTransient.end();
  }
  return facts;
}

// 201 of "201 Created".
int leading_number(std::string_view text) {
  int number = 0;
  std::from_chars(text.data(), text.data() + text.size(), number);
  return number;
}

}  // namespace

bool says_failure(const json::Node* outcome) {
  const json::Node* issues = outcome != nullptr ? outcome->find("issue") : nullptr;
  for (const json::Node* issue = issues != nullptr ? issues->first : nullptr; issue != nullptr;
       issue = issue->next) {
    const std::string_view severity = issue->string_at("severity");
    if (severity == "error" || severity == "fatal") {
      return true;
    }
  }
  return false;
}

namespace {

// Of a transaction-response whose entries all succeeded.
std::optional<Landing> read_landing(std::string_view body, std::size_t entries) {
  json::Document document(names());
  if (!document.parse(body).has_value() || document.root()->string_at("resourceType") != "Bundle" ||
      document.root()->string_at("type") != "transaction-response") {
    return std::nullopt;
  }
  const json::Node* list = document.root()->find("entry");
  if ((list == nullptr ? 0 : list->count) != entries) {
    return std::nullopt;
  }
  Landing out;
  for (const json::Node* entry = list == nullptr ? nullptr : list->first; entry != nullptr;
       entry = entry->next) {
    const json::Node* response = entry->find("response");
    if (response == nullptr || response->string_at("status").substr(0, 1) != "2" ||
        says_failure(response->find("outcome"))) {
      return std::nullopt;
    }
    LandedEntry row;
    row.location = place_of(response->string_at("location"));
    row.etag = entity_tag_of(response->string_at("etag"));
    row.status = leading_number(response->string_at("status"));
    out.push_back(std::move(row));
  }
  return out;
}

Verdict judge_success(const Reply& reply, std::size_t entries) {
  if (!reply.body_cut) {
    if (auto landing = read_landing(reply.body, entries)) {
      Verdict verdict(Action::kLanded, "");
      verdict.landing = std::move(*landing);
      return verdict;
    }
  }
  // A proxy's page, another resource, or entries missing: nothing proves that the session is in the
  // chart.
  const std::size_t start = reply.body.find_first_not_of(" \t\r\n");
  const bool page = start != std::string::npos && reply.body[start] == '<';
  return {Action::kHold, page ? "html-answer" : "unexpected-answer", true};
}

std::optional<std::int64_t> parse_http_date(std::string_view text) {
  std::tm parts{};
  const std::string copy(text);
  const char* end = strptime(copy.c_str(), "%a, %d %b %Y %H:%M:%S GMT", &parts);
  if (end == nullptr || *end != '\0') {
    return std::nullopt;
  }
  return static_cast<std::int64_t>(timegm(&parts)) * 1000;
}

}  // namespace

std::string_view Reply::header(std::string_view lower_case_name) const {
  for (const auto& [name, value] : headers) {
    const bool same =
        std::equal(name.begin(), name.end(), lower_case_name.begin(), lower_case_name.end(),
                   [](char a, char b) { return (a >= 'A' && a <= 'Z' ? a - 'A' + 'a' : a) == b; });
    if (same) {
      return value;
    }
  }
  return {};
}

milliseconds retry_after(const Reply& reply, std::int64_t now_ms) {
  const std::string_view text = reply.header("retry-after");
  const milliseconds most = base::limits::kRetryAfterMax;
  std::int64_t seconds = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), seconds);
  if (error == std::errc::result_out_of_range) {
    return text.starts_with('-') ? milliseconds(0) : most;
  }
  if (!text.empty() && error == std::errc() && end == text.data() + text.size()) {
    // Cut before it is multiplied, which could overflow.
    const std::chrono::seconds cut(
        std::clamp<std::int64_t>(seconds, 0, base::limits::kRetryAfterMax.count()));
    return cut;
  }
  const auto date = parse_http_date(text);
  return date ? std::clamp(milliseconds(*date - now_ms), milliseconds(0), most) : milliseconds(0);
}

Verdict judge(const Reply& reply, std::size_t entries, bool uncertain, std::int64_t now_ms) {
  if (reply.fate == Reply::Fate::kNotSent) {
    return {Action::kPauseTarget, "unreachable"};
  }
  if (reply.fate == Reply::Fate::kNoAnswer) {
    return {Action::kRetry, "no-answer", true};
  }
  if (reply.status == 200 || reply.status == 201) {
    return judge_success(reply, entries);
  }
  const OutcomeFacts facts = read_outcome(reply.body);
  const bool client_error = reply.status >= 400 && reply.status < 500;
  if (client_error && reply.status != 401 && reply.status != 403) {
    if (facts.several) {
      return {Action::kHold, "several-matches"};
    }
    if (facts.too_large && reply.status != 429) {
      return {Action::kHold, "too-large"};
    }
    if (facts.not_found && !facts.conflict) {
      return {Action::kHoldRetry, facts.names_patient ? "unknown-patient" : "unknown-reference"};
    }
    if (facts.conflict && reply.status != 409) {
      return {Action::kHold, "version-conflict", uncertain};
    }
    if (facts.transient && reply.status != 429) {
      return {Action::kRetry, "busy"};
    }
  }
  if (reply.status == 404 && facts.present) {
    return {Action::kHold, "refused"};
  }
  Verdict verdict(reply.status >= 500 ? Action::kRetry : Action::kHold, "unexpected-answer");
  for (const StatusRow& row : kStatuses) {
    if (row.status == reply.status) {
      verdict = Verdict(row.action, std::string(row.reason));
    }
  }
  // A gateway's 5xx, or a second thought of the server, may follow a commit.
  verdict.unknown = reply.status >= 500 || reply.status == 408 || reply.status < 300 ||
                    (verdict.reason == "version-conflict" && uncertain);
  verdict.retry_after = retry_after(reply, now_ms);
  return verdict;
}

std::size_t count_entries(std::string_view bundle) {
  json::Document document(names());
  if (!document.parse(bundle).has_value()) {
    return 0;
  }
  const json::Node* list = document.root()->find("entry");
  return list != nullptr && list->is_array() ? list->count : 0;
}

}  // namespace engine::delivery

#include "engine/web/metrics.h"

#include <algorithm>
#include <string_view>

namespace engine::web {
namespace {

void head(std::string& out, std::string_view name, std::string_view type, std::string_view help) {
  out.append("# HELP ").append(name).append(" ").append(help).append("\n# TYPE ");
  out.append(name).append(" ").append(type).append("\n");
}

std::string escaped(std::string_view label) {
  std::string out;
  for (const char c : label) {
    if (c == '\\' || c == '"') {
      out += '\\';
    }
    out += c == '\n' ? ' ' : c;
  }
  return out;
}

}  // namespace

void Metrics::wrote(const std::vector<journal::Outcome>& outcomes) {
  for (const journal::Outcome& outcome : outcomes) {
    if (outcome.verdict != journal::Outcome::Verdict::kNotNow) {
      ++records_[static_cast<std::size_t>(outcome.record.kind) % records_.size()];
    }
  }
}

void Metrics::answered(int status) {
  ++answers_[static_cast<std::size_t>(std::clamp(status / 100, 0, 5))];
}

void Metrics::noticed(std::uint64_t behind, std::uint32_t failures) {
  notices_behind_ = behind;
  notice_failures_ = failures;
  notices_ = true;
}

void Metrics::looked(bool failed, bool any_unread) {
  failed_looks_ += failed ? 1U : 0U;
  unread_ = any_unread;
}

void Metrics::heads(bool altered, bool failing) {
  altered_ = altered;
  heads_failing_ = failing;
}

std::string Metrics::text(const Gauges& gauges) const {
  std::string out;
  head(out, "chartferry_records_total", "counter",
       "Journal records written since the start, by kind.");
  for (std::size_t i = 1; i < records_.size(); ++i) {
    const std::string_view kind = journal::name_of(static_cast<journal::Kind>(i));
    out.append("chartferry_records_total{kind=\"").append(kind).append("\"} ");
    out.append(std::to_string(records_[i])).append("\n");
  }
  head(out, "chartferry_http_answers_total", "counter", "Answers given since the start, by class.");
  for (std::size_t i = 1; i < answers_.size(); ++i) {
    out += "chartferry_http_answers_total{class=\"" + std::to_string(i) + "xx\"} " +
           std::to_string(answers_[i]) + "\n";
  }
  head(out, "chartferry_waiting", "gauge", "Revisions that have not ended, by target and state.");
  for (const journal::Store::Count& count : gauges.legs) {
    out += "chartferry_waiting{target=\"" + escaped(count.target) + "\",state=\"";
    out.append(journal::name_of(count.state)).append("\"} ");
    out += std::to_string(count.legs) + "\n";
  }
  head(out, "chartferry_journal_records", "gauge", "Records in the journal.");
  out += "chartferry_journal_records " + std::to_string(gauges.journal_size) + "\n";
  head(out, "chartferry_journal_failing", "gauge", "1 when the last write to the journal failed.");
  out += std::string("chartferry_journal_failing ") + (gauges.journal_failing ? "1" : "0") + "\n";
  head(out, "chartferry_journal_altered", "gauge", "1 while it contradicts its last signed head.");
  out += std::string("chartferry_journal_altered ") + (altered_ ? "1" : "0") + "\n";
  head(out, "chartferry_heads_failing", "gauge", "1 when the last head could not be written.");
  out += std::string("chartferry_heads_failing ") + (heads_failing_ ? "1" : "0") + "\n";
  head(out, "chartferry_queue_unread_total", "counter",
       "Looks for what is to be sent that the journal did not answer.");
  out += "chartferry_queue_unread_total " + std::to_string(failed_looks_) + "\n";
  head(out, "chartferry_target_paused", "gauge", "1 while a record server is away or busy.");
  const auto by_target = [&](const char* name, auto value) {
    for (const Gauges::Target& target : gauges.targets) {
      out += std::string(name) + "{target=\"" + escaped(target.name) + "\"} " +
             std::to_string(value(target)) + "\n";
    }
  };
  by_target("chartferry_target_paused", [](const auto& one) { return one.paused ? 1 : 0; });
  head(out, "chartferry_target_paused_by_person", "gauge", "1 while a person has it paused.");
  by_target("chartferry_target_paused_by_person",
            [](const auto& one) { return one.by_person ? 1 : 0; });
  head(out, "chartferry_target_in_flight", "gauge", "Revisions on their way to a record server.");
  by_target("chartferry_target_in_flight", [](const auto& one) { return one.in_flight; });
  if (notices_) {
    head(out, "chartferry_notices_behind", "gauge", "Records whose outcome is not yet told.");
    out += "chartferry_notices_behind " + std::to_string(notices_behind_) + "\n";
    head(out, "chartferry_notices_failures", "gauge", "Tries since the receiver took one.");
    out += "chartferry_notices_failures " + std::to_string(notice_failures_) + "\n";
  }
  return out;
}

}  // namespace engine::web

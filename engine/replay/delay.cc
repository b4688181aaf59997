#include "engine/replay/delay.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <map>
#include <memory>
#include <optional>
#include <utility>

#include "engine/base/limits.h"
#include "engine/delivery/exchange.h"
#include "engine/replay/report_pages.h"
#include "engine/therapy/clock_text.h"

namespace engine::replay {

using journal::Kind;
using journal::Record;

// Seconds 0 to 63 have a bucket each; from 2^e on, e >= 6, a doubling is 64 buckets wide.
std::size_t Delays::bucket_of(std::int64_t seconds) {
  const auto value = static_cast<std::uint64_t>(seconds);
  if (value < kFine) {
    return static_cast<std::size_t>(value);
  }
  const auto doubling = static_cast<std::size_t>(std::bit_width(value)) - 6;
  const std::size_t bucket =
      doubling * kFine + static_cast<std::size_t>(value >> (doubling - 1)) - kFine;
  return std::min(bucket, kFine * kDoublings - 1);
}

std::int64_t Delays::end_of(std::size_t bucket) {
  if (bucket < kFine) {
    return static_cast<std::int64_t>(bucket);
  }
  const std::size_t doubling = bucket / kFine;
  const std::uint64_t first = kFine + bucket % kFine;
  return static_cast<std::int64_t>(((first + 1) << (doubling - 1)) - 1);
}

void Delays::add(std::int64_t milliseconds) {
  early_ += milliseconds < 0 ? 1 : 0;
  const std::int64_t seconds = (std::max<std::int64_t>(milliseconds, 0) + 999) / 1'000;
  ++buckets_[bucket_of(seconds)];
  ++count_;
  worst_ = std::max(worst_, seconds);
}

std::int64_t Delays::seconds_at(double share) const {
  const auto rank = static_cast<std::uint64_t>(std::ceil(share * static_cast<double>(count_)));
  std::uint64_t seen = 0;
  for (std::size_t bucket = 0; bucket < buckets_.size(); ++bucket) {
    seen += buckets_[bucket];
    if (seen >= rank && seen > 0) {
      return std::min(end_of(bucket), worst_);
    }
  }
  return worst_;
}

namespace {

std::optional<std::int64_t> time_of(std::string_view text) {
  const auto moment = therapy::parse_moment(text);
  return moment && moment->has_time ? std::optional(moment->milliseconds) : std::nullopt;
}

// The end of the session, or of the last thing that was done while it goes on.
std::optional<std::int64_t> treated_at(const json::Node& document) {
  const json::Node* period = document.find("period");
  auto latest = period != nullptr ? time_of(period->string_at("end")) : std::nullopt;
  const json::Node* entries = document.find("entry");
  if (latest || entries == nullptr) {
    return latest;
  }
  for (const json::Node& entry : *entries) {
    const json::Node* span = entry.find("period");
    for (const auto& one : {time_of(entry.string_at("time")),
                            span != nullptr ? time_of(span->string_at("end")) : std::nullopt}) {
      latest = one && (!latest || *latest < *one) ? one : latest;
    }
  }
  return latest;
}

class Measuring {
 public:
  explicit Measuring(const journal::Store& store) : store_(store) {}

  base::Result<void> measure(const Record& landed) {
    if (landed.reason == delivery::kNothingToSend) {
      return {};
    }
    const auto first = is_first(landed);
    if (!first) {
      return first.error();
    }
    if (!*first) {
      return {};
    }
    const auto acceptances = store_.acceptances(landed.session);
    if (!acceptances) {
      return acceptances.error();
    }
    for (const journal::Acceptance& one : *acceptances) {
      if (one.revision == landed.revision) {
        return add(landed, one.position);
      }
    }
    return {};
  }
  DelayReport take() {
    DelayReport out;
    out.untimed = untimed_;
    for (auto& [key, row] : rows_) {
      out.rows.push_back(std::move(*row));
    }
    return out;
  }

 private:
  base::Result<bool> is_first(const Record& landed) const {
    journal::Query query;
    query.session = landed.session;
    query.target = landed.target;
    query.kind = Kind::kLanded;
    query.limit = base::limits::kEventsCatchUpMax;
    const auto found = store_.search(query);
    if (!found) {
      return found.error();
    }
    const auto first = std::find_if(found->begin(), found->end(), [](const Record& one) {
      return one.reason != delivery::kNothingToSend;
    });
    // Before one that cannot be read nobody knows.
    return first != found->end() && first->position == landed.position;
  }
  base::Result<void> add(const Record& landed, journal::Position accepted) {
    const auto head = store_.head(accepted);
    if (!head && head.error().code == base::ErrorCode::kCorrupt) {
      ++untimed_;  // when it came is not readable
      return {};
    }
    if (!head) {
      return head.error();
    }
    const auto read = read_document(store_, accepted, document_);
    if (!read && read.error().code == base::ErrorCode::kNotFound) {
      ++untimed_;  // destroyed
      return {};
    }
    if (!read) {
      return read;
    }
    const auto treated = treated_at(*document_.root());
    const auto in = time_of(head->record.time);
    const auto there = time_of(landed.time);
    if (!treated || !in || !there) {
      ++untimed_;
      return {};
    }
    const std::string therapist = person_text(document_.root()->find("therapist"));
    for (const std::string& who : {std::string(), therapist.empty() ? "unnamed" : therapist}) {
      DelayRow& row = row_of(landed.target, who);
      row.accepted.add(*in - *treated);
      row.landed.add(*there - *treated);
    }
    return {};
  }
  DelayRow& row_of(const std::string& target, const std::string& therapist) {
    const auto found = rows_.find({target, therapist});
    if (found != rows_.end()) {
      return *found->second;
    }
    const bool room = therapist.empty() || rows_.size() < base::limits::kPeopleMax;
    const std::string name = room ? therapist : "others";
    std::unique_ptr<DelayRow>& row = rows_[{target, name}];
    if (!row) {
      row = std::make_unique<DelayRow>();
      row->target = target;
      row->therapist = name;
    }
    return *row;
  }

  const json::NameTable names_;
  const journal::Store& store_;
  json::Document document_{names_};
  std::map<std::pair<std::string, std::string>, std::unique_ptr<DelayRow>> rows_;
  std::uint64_t untimed_ = 0;
};

}  // namespace

base::Result<DelayReport> delays(const journal::Store& store, const Range& range) {
  journal::Query query;
  query.kind = Kind::kLanded;
  query.since = range.since;
  query.until = range.until;
  Measuring measuring(store);
  Unread unread;
  auto done = each_record(store, query, unread,
                          [&measuring](Record& record) { return measuring.measure(record); });
  if (!done) {
    return std::move(done).error();
  }
  DelayReport report = measuring.take();
  report.unreadable = unread.size();
  return report;
}

}  // namespace engine::replay

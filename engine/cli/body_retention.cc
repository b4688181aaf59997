#include "engine/cli/body_retention.h"

#include <algorithm>
#include <optional>
#include <string>
#include <utility>

#include "engine/base/limits.h"
#include "engine/cli/engine_parts.h"
#include "engine/cli/files.h"
#include "engine/cli/read_file.h"

namespace engine::cli {

namespace {

constexpr std::size_t kPage = 256;
constexpr std::chrono::hours kTellAgain{24};

}  // namespace

BodyRetention::BodyRetention(journal::Journal& journal, const base::Clock& clock,
                             journal::Retention kept, const std::string& files, std::string newest)
    : journal_(journal),
      clock_(clock),
      kept_(kept),
      clock_file_(files + journal::kClockFile),
      belief_(newest.empty() ? base::to_instant(clock.now()) : std::move(newest)),
      next_(clock.steady()) {
  if (const auto size = journal.store().size()) {
    belief_.read_through(*size);
  }
}

// Persons who removed bodies since the last look, with whatever engine's files.
base::Result<void> BodyRetention::hear_persons() {
  const auto size = journal_.store().size();
  if (!size) {
    return size.error();
  }
  journal::Query query;
  query.kind = journal::Kind::kExpired;
  query.limit = kPage;
  query.after = std::min(belief_.through(), *size);  // a standby may have lacked the last ones
  for (bool more = true; more;) {
    const auto records = journal_.store().search(query);
    if (!records) {
      return records.error();
    }
    for (const journal::Record& record : *records) {
      belief_.read(record);
      query.after = record.position;
    }
    more = records->size() == kPage;
  }
  belief_.read_through(std::max(*size, query.after));
  return {};
}

// Each engine of a journal keeps this up, also those that remove nothing just now.
bool BodyRetention::believes_clock() {
  const auto text = read_file(clock_file_);
  const auto kept = text ? journal::ClockBelief::parse(*text) : std::nullopt;
  if (kept) {
    belief_.follow(*kept);
  }
  auto done = hear_persons();
  const auto now = clock_.now();
  const bool believable = belief_.believes(now, clock_.steady());
  // Also while it is not: after another start the newest record has the time of this clock.
  if (done && (!kept || kept->at() != belief_.at())) {
    done = write_file(clock_file_, belief_.print());
  }
  if (believable && done) {
    waits_ = false;
    return true;
  }
  if (!waits_ || clock_.steady() - told_ >= kTellAgain) {
    say("retention-waits",
        "what=\"" +
            (done ? "the clock says " + base::to_instant(now) + " and was last believed at " +
                        belief_.at() + ": no body is removed until a person runs journal expire"
                  : done.error().text()) +
            "\"");
    told_ = clock_.steady();
  }
  waits_ = true;
  return false;
}

void BodyRetention::look() {
  if (clock_.steady() < next_) {
    return;
  }
  next_ = clock_.steady() + base::limits::kRetentionLook;
  if (!believes_clock()) {
    return;
  }
  const std::string cutoff = journal::cutoff_of(kept_, clock_.now());
  journal::Change change;
  change.record.kind = journal::Kind::kExpired;
  change.record.actor = "chartferry " CHARTFERRY_VERSION;
  change.record.why = "bodies are kept no longer than the site's configuration says";
  change.record.reason = "before " + cutoff;
  change.destroy_before = cutoff;
  change.destroy_max = base::limits::kRemovedAtOnceMax;
  const auto outcome = journal_.write(std::move(change));
  if (!outcome) {
    say("not-recorded", "record=expired");
  } else if (outcome->verdict == journal::Outcome::Verdict::kWritten) {
    say("bodies-removed", "record=" + std::to_string(outcome->position) + " before=" + cutoff);
    next_ = clock_.steady();  // there may be more
  }
}

}  // namespace engine::cli

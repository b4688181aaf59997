#include <mutex>
#include <string_view>
#include <utility>

#include "engine/base/limits.h"
#include "engine/intake/translation.h"
#include "engine/replay/history.h"
#include "engine/replay/replay.h"

namespace engine::replay {
namespace {

constexpr std::string_view kComputation = "computation";

// The value of "name=value" in what a translation was made with.
std::string_view set_of(std::string_view made_with, std::string_view name) {
  const std::string key = std::string(name) + "=";
  const std::size_t at = made_with.find(key);
  if (at == std::string_view::npos) {
    return {};
  }
  const std::string_view rest = made_with.substr(at + key.size());
  return rest.substr(0, rest.find(' '));
}

std::string_view sets_of(std::string_view made_with) {
  return made_with.substr(0, made_with.find(" revisions="));
}

std::string what_differs(std::string_view stored, std::string_view own) {
  std::string out;
  for (const char* name : {"mapping", "profiles", "settings", "computation"}) {
    if (set_of(stored, name) != set_of(own, name)) {
      out += (out.empty() ? "" : ", ") + std::string(name);
    }
  }
  return out;
}

// "" when all is as journalled.
std::string compare(const Journalled& made, const base::Result<therapy::Translation>& again) {
  if (!again) {
    return again.error().text();
  }
  const bool ready = again->verdict == therapy::Verdict::kReady;
  const bool was_ready = made.record.kind == journal::Kind::kChecked;
  if (ready != was_ready) {
    return ready ? "it is ready now" : "it is held now";
  }
  if (again->bundle != made.bundle) {
    return "the bundle differs";
  }
  // Records of before the journal kept it have none.
  if (!made.lineage.empty() && again->lineage != made.lineage) {
    return "the lineage differs";
  }
  if (!ready && fhir::to_operation_outcome(again->issues) != made.outcome) {
    return "the outcome differs";
  }
  return {};
}

// Another core could make nothing of it again either.
bool is_destroyed(const journal::Store& store, const journal::Record& made) {
  const auto revisions = intake::load_basis(store, made);
  return !revisions && revisions.error().code == base::ErrorCode::kNotFound;
}

void count_other(const journal::Record& made, std::string what, bool destroyed,
                 VerifyReport& report) {
  VerifyReport::Other& other = report.others[std::string(sets_of(made.made_with))];
  if (destroyed) {
    ++report.destroyed;
    ++other.destroyed;
  } else {
    ++report.translations;
    ++report.other_sets[what];
    ++other.count;
  }
  other.what = std::move(what);
}

}  // namespace

base::Result<VerifyReport> verify(const journal::Store& store, const intake::SessionCore& core,
                                  const Range& range, std::size_t threads,
                                  const OnProgress& on_progress, const std::string& only) {
  VerifyReport report;
  const std::string own = intake::made_with(core.provenance(), {});
  Walk rules;
  std::mutex mutex;  // records are looked at on several threads
  rules.skip = [&](const journal::Record& record) {
    if (!only.empty()) {
      return sets_of(record.made_with) != only;
    }
    std::string what = what_differs(record.made_with, own);
    // A later computation seldom changes what most documents become.
    if (what.empty() || what == kComputation) {
      return false;
    }
    const bool destroyed = is_destroyed(store, record);
    const std::lock_guard lock(mutex);
    count_other(record, std::move(what), destroyed, report);
    return true;
  };
  rules.compare = [&](const Journalled& made, const base::Result<therapy::Translation>& again) {
    std::string what = compare(made, again);
    const bool other = set_of(made.record.made_with, kComputation) != set_of(own, kComputation);
    const std::lock_guard lock(mutex);
    ++report.translations;
    if (what.empty()) {
      ++report.same;
      report.same_by_other += other ? 1U : 0U;
    } else if (other) {
      ++report.other_sets[std::string(kComputation)];
    } else if (report.faults.size() < base::limits::kIssuesMax) {
      report.faults.push_back(fault_at(made.record, std::move(what)));
    }
  };
  rules.destroyed = [&](const journal::Record&) {
    const std::lock_guard lock(mutex);
    ++report.destroyed;
  };
  rules.on_progress = on_progress;
  const auto walked = walk(store, core, range, threads, rules);
  if (!walked) {
    return walked.error();
  }
  report.broken_off = *walked;
  return report;
}

}  // namespace engine::replay

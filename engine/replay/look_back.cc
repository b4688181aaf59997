// What changed maps would make of the latest traffic, while the engine works.

#include <algorithm>
#include <set>
#include <string_view>
#include <utility>
#include <vector>

#include "engine/intake/translation.h"
#include "engine/replay/history.h"
#include "engine/replay/replay.h"

namespace engine::replay {
namespace {

using journal::Record;

// Records read at one time.
constexpr std::size_t kBatch = 100;

// Without the revisions, which differ from session to session.
std::string_view sets_of(std::string_view made_with) {
  return made_with.substr(0, made_with.find(" revisions="));
}

// As intake journals it.
Made made_of(const therapy::Translation& translation) {
  return {translation.verdict == therapy::Verdict::kReady, intake::reason_of(translation),
          translation.bundle};
}

// What the journal holds when it was made with the sets in force; otherwise it is made again.
base::Result<Made> made_in_force(const journal::Store& store, const intake::SessionCore& in_force,
                                 const Record& record,
                                 const std::vector<therapy::Revision>& revisions) {
  if (sets_of(record.made_with) != sets_of(intake::made_with(in_force.provenance(), {}))) {
    return made_of(in_force.translate(revisions));
  }
  auto bundle = store.part(record.position, "bundle");
  if (!bundle && bundle.error().code == base::ErrorCode::kCorrupt) {
    return made_of(in_force.translate(revisions));  // damaged
  }
  if (!bundle && bundle.error().code != base::ErrorCode::kNotFound) {
    return std::move(bundle).error();
  }
  return Made{record.kind == journal::Kind::kChecked, intake::reason_of(record),
              bundle ? std::move(*bundle) : std::string()};
}

void count(const Record& record, std::vector<Change> changes, const Look& look,
           LookReport& report) {
  ++report.looked;
  report.same += changes.empty() ? 1U : 0U;
  std::set<std::string> here;
  for (Change& change : changes) {
    if (report.kinds.size() >= look.kinds_max && !report.kinds.contains(change.kind)) {
      ++report.other_kinds;
      continue;
    }
    LookReport::Kind& kind = report.kinds[change.kind];
    ++kind.count;
    if (here.insert(change.kind).second) {
      ++kind.translations;
      if (kind.examples.size() < look.examples_max) {
        kind.examples.push_back({fault_at(record, change.kind), std::move(change)});
      }
    }
  }
}

}  // namespace

base::Result<LookReport> look_back(const journal::Store& store, const intake::SessionCore& in_force,
                                   const intake::SessionCore& core, const Look& look) {
  LookReport report;
  journal::Query query;
  query.since = look.range.since;
  query.until = look.range.until;
  query.after = look.before;
  query.limit = kBatch;
  query.newest_first = true;
  while (true) {
    const auto records = store.search(query);
    if (!records) {
      return records.error();
    }
    for (const Record& record : *records) {
      const auto basis = intake::basis_of(record.made_with).revisions;
      if (!is_translation(record) || basis.empty()) {
        continue;
      }
      if (report.looked >= look.limit || (look.enough && look.enough())) {
        report.next = record.position + 1;
        return report;
      }
      if (!look.whose.holds(record.target)) {
        ++report.left_out;
        continue;
      }
      const auto revisions = intake::load_basis(store, record);
      if (!revisions && (revisions.error().code == base::ErrorCode::kNotFound ||
                         revisions.error().code == base::ErrorCode::kCorrupt)) {
        continue;  // destroyed or damaged: nothing can be made of it
      }
      if (!revisions) {
        return revisions.error();
      }
      const auto before = made_in_force(store, in_force, record, *revisions);
      if (!before) {
        return before.error();
      }
      count(record, differences(*before, made_of(core.translate(*revisions))), look, report);
    }
    if (records->size() < query.limit) {
      return report;
    }
    query.after = records->back().position;
  }
}

}  // namespace engine::replay

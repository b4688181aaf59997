#include "engine/cli/verify_sets.h"

#include "engine/cli/kept_sets.h"

namespace engine::cli {

base::Result<replay::VerifyReport> verify_with_kept_sets(const journal::Store& store,
                                                         const intake::SessionCore& core,
                                                         const KeptVerify& wish) {
  auto report = replay::verify(store, core, wish.range, wish.threads, wish.progress);
  if (!report || report->broken_off) {
    return report;
  }
  const KeptSets kept(wish.folder);
  for (const auto& [made_with, other] : report->others) {
    if (other.count == 0) {
      continue;  // all destroyed: nothing that the set could make again
    }
    const auto translator = kept.load(ids_of(made_with));
    if (!translator) {
      wish.unusable(translator.error());
      continue;
    }
    const intake::BorrowedCore<therapy::Translator> older(**translator);
    const auto part =
        replay::verify(store, older, wish.range, wish.threads, wish.progress, made_with);
    if (!part) {
      return part.error();
    }
    if (part->broken_off) {
      report->broken_off = wish.range.after;  // of the sets behind this one nothing is known
      return report;
    }
    // What it finds now: meanwhile an engine may have made more, or a person destroyed some.
    report->translations += part->translations - other.count;
    report->same += part->same;
    report->same_by_other += part->same_by_other;
    report->destroyed += part->destroyed - other.destroyed;
    report->faults.insert(report->faults.end(), part->faults.begin(), part->faults.end());
    const auto count = report->other_sets.find(other.what);
    count->second -= other.count;
    if (count->second == 0) {
      report->other_sets.erase(count);
    }
    for (const auto& [what, unlike] : part->other_sets) {
      report->other_sets[what] += unlike;
    }
  }
  return report;
}

}  // namespace engine::cli

#include "engine/replay/history.h"

#include <algorithm>
#include <atomic>
#include <mutex>
#include <thread>
#include <utility>
#include <vector>

#include "engine/intake/translation.h"

namespace engine::replay {
namespace {

using journal::Kind;
using journal::Record;

// Records read at one time: enough to keep several threads at work, little in memory.
constexpr std::size_t kBatch = 256;

base::Result<std::string> part_if_there(const journal::Store& store, const Record& record,
                                        std::string_view name) {
  auto bytes = store.part(record.position, name);
  if (!bytes && bytes.error().code == base::ErrorCode::kNotFound) {
    return std::string();
  }
  return bytes;
}

base::Result<void> read_parts(const journal::Store& store, bool bundle_only, Journalled& made) {
  for (const auto& [name, part] : {std::pair{"bundle", &made.bundle},
                                   {"lineage", &made.lineage},
                                   {"outcome", &made.outcome}}) {
    if (bundle_only && part != &made.bundle) {
      break;
    }
    auto bytes = part_if_there(store, made.record, name);
    if (!bytes) {
      return std::move(bytes).error();
    }
    *part = std::move(*bytes);
  }
  return {};
}

base::Result<therapy::Translation> translate_again(const journal::Store& store,
                                                   const intake::SessionCore& core,
                                                   const Record& record, bool plainly) {
  const auto basis = intake::basis_of(record.made_with).revisions;
  if (basis.empty()) {
    return base::Error(base::ErrorCode::kCorrupt, "the record does not say what it was made of");
  }
  const auto revisions = intake::load_basis(store, record);
  if (!revisions) {
    return revisions.error();
  }
  return plainly ? core.translate_plainly(*revisions) : core.translate(*revisions);
}

}  // namespace

bool is_translation(const Record& record) {
  return (record.kind == Kind::kChecked || record.kind == Kind::kHeld) && !record.made_with.empty();
}

Fault fault_at(const Record& record, std::string what) {
  Fault fault;
  fault.position = record.position;
  fault.session = record.session;
  fault.revision = record.revision;
  fault.target = record.target;
  fault.what = std::move(what);
  return fault;
}

base::Result<std::optional<journal::Position>> walk(const journal::Store& store,
                                                    const intake::SessionCore& core,
                                                    const Range& range, std::size_t threads,
                                                    const Walk& walk) {
  Progress progress;
  std::atomic<std::uint64_t> done{0};
  journal::Query query;
  query.since = range.since;
  query.until = range.until;
  query.after = range.after;
  query.limit = kBatch;
  while (true) {
    const auto records = store.search(query);
    if (!records) {
      return records.error();
    }
    std::mutex mutex;  // of `failed`
    std::atomic<std::size_t> next{0};
    base::Result<void> failed;
    const auto work = [&] {
      for (std::size_t i = next++; i < records->size(); i = next++) {
        const Record& record = (*records)[i];
        if (!is_translation(record) || (walk.skip && walk.skip(record))) {
          continue;
        }
        Journalled made;
        made.record = record;
        const auto again = translate_again(store, core, record, walk.bundles_only);
        if (!again && again.error().code == base::ErrorCode::kNotFound) {
          walk.destroyed(record);
          continue;
        }
        auto read = read_parts(store, walk.bundles_only, made);
        if (!read && read.error().code != base::ErrorCode::kCorrupt) {
          const std::lock_guard lock(mutex);
          failed = std::move(read);
          return;
        }
        walk.compare(made, read ? again : read.error());
        ++done;
      }
    };
    std::vector<std::thread> pool;
    for (std::size_t i = 1; i < std::max<std::size_t>(threads, 1); ++i) {
      pool.emplace_back(work);
    }
    work();
    for (std::thread& thread : pool) {
      thread.join();
    }
    if (!failed) {
      return failed.error();
    }
    if (!records->empty()) {
      query.after = records->back().position;
      progress.position = query.after;
      progress.done = done;
      const bool last = records->size() < query.limit;
      if (walk.on_progress && !walk.on_progress(progress) && !last) {
        return std::optional(query.after);
      }
    }
    if (records->size() < query.limit) {
      return std::optional<journal::Position>();
    }
  }
}

}  // namespace engine::replay

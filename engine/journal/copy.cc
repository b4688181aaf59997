#include "engine/journal/copy.h"

#include <vector>

#include "engine/base/limits.h"
#include "engine/journal/merkle.h"
#include "engine/journal/search_key.h"

namespace engine::journal {

using base::Error;
using base::ErrorCode;
using base::Result;

namespace {

Result<Frontier> tree_of(const Store& store, Position size) {
  Frontier tree;
  if (size > 0) {
    const auto scanned = store.scan(1, [&](Position, std::string_view, const base::Digest& leaf) {
      tree.append(leaf);
      return tree.size() < size;
    });
    if (!scanned) {
      return scanned.error();
    }
  }
  return tree;
}

// A record without the parts that its head names: they may have been removed for good.
Result<void> mark_removed(const Store& from, CopiedRecord& record) {
  const auto head = parse_head(record.head);
  if (!head || head->parts.empty() || !record.parts.empty()) {
    return {};  // restore() judges the rest
  }
  const auto by = from.destroyed_by(head->record.position, head->parts.front().name);
  record.removed = by && by->has_value();
  return by ? Result<void>() : by.error();
}

// The records from `first` on, some of them, with their parts.
Result<std::vector<CopiedRecord>> next_records(const Store& from, Position first) {
  std::vector<CopiedRecord> out;
  std::size_t bytes = 0;
  auto scanned = from.scan(first, [&](Position, std::string_view head, const base::Digest& leaf) {
    CopiedRecord record;
    record.head = std::string(head);
    record.leaf = leaf;
    out.push_back(std::move(record));
    return out.size() < base::limits::kCopyGroupMax;
  });
  if (!scanned || out.empty()) {
    return scanned ? Result<std::vector<CopiedRecord>>(std::move(out)) : scanned.error();
  }
  Position complete = first + out.size();  // the first record whose parts were not all read
  scanned = from.scan_parts(first, [&](const PartRow& row) {
    if (row.position >= first + out.size()) {
      return false;
    }
    if (bytes > base::limits::kStoredBytesMax && row.position > first) {
      complete = row.position;
      return false;
    }
    bytes += row.part.bytes.size();
    out[row.position - first].parts.push_back(row.part);
    return true;
  });
  if (!scanned) {
    return scanned.error();
  }
  if (complete < first + out.size()) {
    out.resize(complete - first);
  }
  for (CopiedRecord& record : out) {
    if (auto marked = mark_removed(from, record); !marked) {
      return marked.error();
    }
  }
  return out;
}

}  // namespace

Result<CopyReport> copy_journal(const Store& from, Store& to, bool ended,
                                const std::function<void(Position)>& progress) {
  const auto size = from.size();
  const auto there = to.size();
  if (!size || !there) {
    return size ? there.error() : size.error();
  }
  CopyReport report;
  report.there = *there;
  const auto begun = tree_of(to, *there);
  const auto beginning = *there <= *size ? tree_of(from, *there) : Frontier();
  if (!begun || !beginning) {
    return begun ? beginning.error() : begun.error();
  }
  if (*there > *size || begun->size() != *there || begun->root() != beginning->root()) {
    return Error(ErrorCode::kConflict,
                 "the journal to copy to holds records that are not those of the other one; copy "
                 "into an empty one");
  }
  // Without its keys, or with some of its records only, it would look like a journal of its own: an
  // engine would send again what has landed, and keep in clear what was sealed.
  if (auto said = to.agree(kCopying, "1"); !said) {
    return said.error();
  }
  while (report.there + report.copied < *size) {
    const auto records = next_records(from, report.there + report.copied + 1);
    if (!records) {
      return records.error();
    }
    if (records->empty()) {
      return Error(ErrorCode::kCorrupt, "the journal has a gap",
                   "position " + std::to_string(report.there + report.copied + 1));
    }
    if (auto restored = to.restore(*records); !restored) {
      return restored.error();
    }
    report.copied += records->size();
    progress(report.there + report.copied);
  }
  // After the records, some of which destroy keys.
  const auto keys = from.body_keys();
  const auto master = from.master();
  if (!keys || !master) {
    return keys ? master.error() : keys.error();
  }
  if (auto restored = to.restore_keys(*keys, *master); !restored) {
    return restored.error();
  }
  // Under which key the patients are hidden, so that no engine takes another one for it.
  const auto mark = from.agreed(kSearchKeyMark);
  if (!mark) {
    return mark.error();
  }
  if (auto agreed = mark->empty() ? Result<void>() : to.agree(kSearchKeyMark, *mark); !agreed) {
    return agreed.error();
  }
  const auto whole = tree_of(from, *size);
  const auto made = tree_of(to, *size);
  if (!whole || !made) {
    return whole ? made.error() : whole.error();
  }
  if (whole->root() != made->root()) {
    return Error(ErrorCode::kCorrupt, "the copy's tree is not that of the original");
  }
  report.root = made->root();
  const auto end = from.size();
  if (!end) {
    return end.error();
  }
  report.whole = ended && *end == *size;
  const auto free = report.whole ? to.retract(kCopying) : Result<void>();
  return free ? Result<CopyReport>(report) : free.error();
}

}  // namespace engine::journal

#include "engine/journal/verify.h"

#include <algorithm>
#include <map>
#include <optional>
#include <set>
#include <utility>

#include "engine/base/limits.h"
#include "engine/journal/destruction.h"
#include "engine/journal/seal.h"
#include "engine/journal/start_marks.h"
#include "engine/journal/stored.h"
#include "engine/journal/unsigned_tail.h"
#include "engine/journal/verify_keys.h"

namespace engine::journal {
namespace {

class Verifier {
 public:
  Verifier(const Store& store, const std::vector<TreeHead>& heads) : store_(store) {
    for (const TreeHead& head : heads) {
      heads_.emplace(head.size, &head);
    }
    // What comes while the records are read is under no head of these.
    const auto size = store.size();
    size_ = size ? *size : 0;
  }

  // Before the parts: the keys there are, and what records say was destroyed.
  base::Result<void> read_keys() {
    auto keys = store_.body_keys();
    if (!keys) {
      return std::move(keys).error();
    }
    for (WrappedKey& key : *keys) {
      keys_.emplace(key.id, std::move(key));
    }
    // After the keys: the first of them was wrapped under one that was in force.
    const auto master = store_.master();
    auto rows = rows_of_tables();
    if (!rows || !master) {
      return rows ? master.error() : rows.error();
    }
    auto faults = check_keys(store_, keys_, *master, marks_);
    if (!faults) {
      return std::move(faults).error();
    }
    for (std::string& text : *faults) {
      fault(std::move(text));
    }
    std::vector<Span> spans;
    for (const Position position : destructions_) {
      const auto what = list_of(position);
      if (!what) {
        continue;
      }
      for (const std::string& id : what->keys) {
        destroyed_keys_.insert(id);
        expect_row(*rows, key_row(id), position);
        if (keys_.count(id) > 0) {
          fault("key " + base::to_hex(id) + ": was to be destroyed by record " +
                std::to_string(position) + " and is still there");
        }
      }
      for (const Span& span : what->records) {
        expect_row(*rows, span_row(span.first, span.last), position);
      }
      spans.insert(spans.end(), what->records.begin(), what->records.end());
    }
    for (const auto& [row, record] : *rows) {
      fault(row + ": the tables say that record " + std::to_string(record) +
            " destroyed it, the record does not");
    }
    removed_.records = joined(std::move(spans));
    return judge_later_rows();
  }

  void record(Position position, std::string_view text, const base::Digest& leaf) {
    ++out.records;
    const std::string where = "record " + std::to_string(position);
    if (position != next_position_) {
      fault(where + ": the log has a gap after position " + std::to_string(next_position_ - 1));
    }
    next_position_ = position + 1;
    if (leaf_hash(text) != leaf) {
      fault(where + ": the head does not hash to the stored leaf");
    }
    frontier_.append(leaf);
    const auto head = parse_head(text);
    if (head && position <= size_) {
      tail_.add(head->record);
    }
    compare_heads();
    if (!head) {
      fault(where + ": " + head.error().text());
    } else {
      check_head(*head, position, where);
    }
    previous_ = leaf;
  }

  void part(const PartRow& row) {
    if (row.position >= next_position_) {
      beyond_ = {row.position, row.part.name};
      return;
    }
    ++out.parts;
    out.stored_bytes += row.part.bytes.size();
    const std::string where = "record " + std::to_string(row.position) + ", part " + row.part.name;
    const auto expected = parts_.find({row.position, row.part.name});
    if (expected == parts_.end()) {
      fault(where + ": no head names it");
      return;
    }
    if (expected->second.hash != row.part.hash || expected->second.codec != row.part.codec) {
      fault(where + ": its bytes do not hash to what the head says");
    } else if (expected->second.number != row.number) {
      fault(where + ": is not in its place");
    } else if (removed_.holds(row.position)) {
      fault(where + ": was to be destroyed and is still there");
    } else if (is_sealed(row.part.codec)) {
      check_sealed(row, where);
    } else if (const auto bytes = from_stored(row.part.codec, row.part.bytes); !bytes) {
      fault(where + ": " + bytes.error().text());
    }
    parts_.erase(expected);
  }

  Verification finish() {
    if (!parts_.empty() || !keyless_.empty()) {
      if (auto read = read_later(); !read) {
        fault(read.error().text());
      }
    }
    for (const auto& [key, mark] : parts_) {
      if (removed_.holds(key.first) || later_.removed.holds(key.first)) {
        ++out.destroyed;
      } else {
        fault("record " + std::to_string(key.first) + ", part " + key.second + ": is missing");
      }
    }
    for (const auto& [position, name, id] : keyless_) {
      // Its key may be newer than the list of keys, or gone since.
      const auto bytes = store_.part(position, name);
      if (!bytes && later_.keys.count(id) > 0) {
        ++out.destroyed;
      } else if (!bytes) {
        // Tables that excuse it are no record.
        const bool excused = bytes.error().code == base::ErrorCode::kNotFound;
        fault("record " + std::to_string(position) + ", part " + name + ": " +
              (excused ? "its key is missing, and no record says that it was destroyed"
                       : bytes.error().detail));
      }
    }
    check_beyond();
    for (auto later = heads_.upper_bound(frontier_.size()); later != heads_.end(); ++later) {
      fault("the tree head of " + later->second->time + " covers " + std::to_string(later->first) +
            " records, the log has " + std::to_string(frontier_.size()) +
            ": the newest ones are missing");
    }
    out.root = frontier_.root();
    out.unproved = tail_.why();
    return std::move(out);
  }

  Verification out;

 private:
  using Rows = std::map<std::string, Position>;  // what was destroyed, by which record

  static std::string key_row(const std::string& id) { return "key " + base::to_hex(id); }
  static std::string span_row(Position first, Position last) {
    return "parts of the records " + std::to_string(first) + " to " + std::to_string(last);
  }
  // Of destructions that were looked at. Rows that name a later record are put aside.
  base::Result<Rows> rows_of_tables() {
    const auto rows = store_.destroyed_rows();
    if (!rows) {
      return rows.error();
    }
    Rows found;
    for (const DestroyedRow& row : *rows) {
      std::string text = row.key.empty() ? span_row(row.first, row.last) : key_row(row.key);
      if (row.record < next_position_) {
        found.emplace(std::move(text), row.record);
      } else {
        later_rows_.emplace_back(std::move(text), row.record);
      }
    }
    return found;
  }
  void expect_row(Rows& rows, const std::string& row, Position record) {
    const auto found = rows.find(row);
    if (found == rows.end()) {
      fault(row + ": record " + std::to_string(record) +
            " destroyed it, and the tables do not say so");
      return;
    }
    if (found->second != record) {
      fault(row + ": record " + std::to_string(record) + " destroyed it, the tables say record " +
            std::to_string(found->second));
    }
    rows.erase(found);
  }
  void check_sealed(const PartRow& row, const std::string& where) {
    const auto id = key_id_of(row.part.bytes);
    if (!id) {
      fault(where + ": " + id.error().text());
      return;
    }
    const auto wrapped = keys_.find(*id);
    if (wrapped == keys_.end()) {
      if (destroyed_keys_.count(*id) > 0) {
        ++out.destroyed;
      } else {
        keyless_.push_back({row.position, row.part.name, *id});
      }
      return;
    }
    if (store_.sealing() == nullptr) {
      ++out.unopened;
      return;
    }
    const auto key = unwrap(wrapped->second, store_.sealing()->masters);
    const auto part = key ? open(row.part, row.position, *key) : key.error();
    const auto bytes = part ? from_stored(part->codec, part->bytes) : part.error();
    if (!bytes) {
      fault(where + ": " + bytes.error().text());
    }
  }
  // What a record had destroyed, by its own list; what is wrong with that is a fault.
  std::optional<Destruction> list_of(Position position) {
    const auto text = store_.part(position, kDestroyedPart);
    auto what = text ? parse_destruction(*text) : base::Result<Destruction>(text.error());
    if (!what) {
      fault("record " + std::to_string(position) + ": " + what.error().text());
      return std::nullopt;
    }
    return std::move(*what);
  }
  // The records that were written since the last look at the end of the log, in so far as they had
  // something destroyed. They are the next verification's; what they excuse is excused only when
  // they are there and continue the log, whatever the tables say.
  base::Result<void> read_later() {
    std::vector<Position> destructions;
    const auto scanned = store_.scan(
        later_.next, [&](Position position, std::string_view text, const base::Digest& leaf) {
          const auto head = parse_head(text, position);
          const bool whole = position == later_.next && leaf_hash(text) == leaf && head &&
                             head->previous == later_.previous;
          if (!whole) {
            fault("record " + std::to_string(position) + ": it does not continue the log");
            return false;
          }
          if (destroys(head->record.kind)) {
            destructions.push_back(position);
          }
          ++later_.next;
          later_.previous = leaf;
          return true;
        });
    for (const Position position : destructions) {
      const auto what = list_of(position);
      for (const std::string& id : what ? what->keys : std::vector<std::string>()) {
        later_.keys.insert(id);
        later_.rows.emplace(key_row(id), position);
      }
      for (const Span& span : what ? what->records : std::vector<Span>()) {
        later_.rows.emplace(span_row(span.first, span.last), position);
        later_.removed.records.push_back(span);
      }
    }
    later_.removed.records = joined(std::move(later_.removed.records));
    return scanned;
  }
  base::Result<void> judge_later_rows() {
    later_.next = next_position_;
    later_.previous = previous_;
    // A row is written together with its record, so the record is there by now.
    auto read = later_rows_.empty() ? base::Result<void>() : read_later();
    for (const auto& [row, record] : later_rows_) {
      if (later_.rows.count({row, record}) == 0) {
        fault(row + ": the tables say that record " +
              std::to_string(static_cast<std::int64_t>(record)) + " destroyed it, " +
              (record < later_.next ? "the record does not" : "and there is no such record"));
      }
    }
    return read;
  }
  // Parts of records that were written after the last one looked at are the next verification's,
  // and stand in the same transaction as their record: beyond the log's end there are none.
  void check_beyond() {
    if (beyond_.first == 0) {
      return;
    }
    const auto size = store_.size();
    if (!size || *size < beyond_.first) {
      fault("record " + std::to_string(beyond_.first) + ", part " + beyond_.second + ": " +
            (size ? "no head names it" : size.error().text()));
    }
  }
  void compare_heads() {
    const auto [first, last] = heads_.equal_range(frontier_.size());
    for (auto head = first; head != last; ++head) {
      if (head->second->root == frontier_.root()) {
        ++out.heads_agree;
        out.covered = frontier_.size();
        tail_.clear();
      } else {
        fault("the first " + std::to_string(head->first) +
              " records are not those of the tree head of " + head->second->time);
      }
    }
  }
  void check_head(const Head& head, Position position, const std::string& where) {
    if (head.record.position != position) {
      fault(where + ": its head says position " + std::to_string(head.record.position));
    }
    if (head.previous != previous_) {
      fault(where + ": it does not name the record before it");
    }
    if (head.record.time < time_) {
      remark(where + ": the clock was set back, from " + time_ + " to " + head.record.time);
    }
    time_ = head.record.time;
    if (destroys(head.record.kind)) {
      destructions_.push_back(position);
    }
    if (head.record.kind == Kind::kStopped) {
      stops_.push_back(position);
    } else if (head.record.kind == Kind::kStarted) {
      name_lost_heads(head.record, where);
    }
    for (std::size_t i = 0; i < head.parts.size(); ++i) {
      const Head::PartMark& mark = head.parts[i];
      parts_[{position, mark.name}] = {mark.hash, mark.codec, static_cast<std::int64_t>(i)};
    }
    if (auto marks = start_marks_of(head.record)) {
      if (marks_ && marks_->search_key != marks->search_key) {
        fault(where + ": it names another key that hides the patients than the starts before it");
      }
      name_head_key(*marks, head.record, where);
      marks_ = std::move(marks);
    }
  }
  // An engine says when it starts how many records its heads cover, before it signs over the rest.
  void name_lost_heads(const Record& start, const std::string& where) {
    const bool ended = !stops_.empty() && stops_.back() > start.through;
    if (start.through != 0 && start.reason != kSharedStart && ended) {
      remark(where + ": when this engine started signed heads covered " +
             std::to_string(start.through) + " of the " + std::to_string(start.position - 1) +
             " records before it, although an engine had ended since; what was signed later does "
             "not prove that nobody altered the others until then");
    }
  }
  // What the key of before signed is proved by its own public half. Engines that share a journal
  // have one each.
  void name_head_key(const StartMarks& marks, const Record& start, const std::string& where) {
    if (start.reason == kSharedStart || marks.head_key.empty()) {
      return;
    }
    if (!head_key_.empty() && head_key_ != marks.head_key) {
      remark(where + ": from here on the heads are signed with the key " + marks.head_key +
             ", before with " + head_key_);
    }
    head_key_ = marks.head_key;
  }
  void fault(std::string text) {
    if (out.faults.size() < base::limits::kIssuesMax) {
      out.faults.push_back(std::move(text));
    }
  }
  void remark(std::string text) {
    if (out.remarks.size() < base::limits::kIssuesMax) {
      out.remarks.push_back(std::move(text));
    }
  }

  const Store& store_;
  KeysById keys_;
  std::vector<Position> destructions_;  // records that destroyed something
  std::set<std::string> destroyed_keys_;
  std::vector<std::pair<std::string, Position>> later_rows_;  // and the record that each names
  struct Later {
    Position next = 1;  // the first record that was not read
    base::Digest previous{};
    std::set<std::string> keys;
    Destruction removed;  // the records
    std::set<std::pair<std::string, Position>> rows;
  };
  Later later_;
  Destruction removed_;  // of all of them, the records
  struct Keyless {
    Position position = 0;
    std::string name;
    std::string key;
  };
  std::vector<Keyless> keyless_;  // sealed parts
  Position next_position_ = 1;
  std::pair<Position, std::string> beyond_;  // the last part that is newer than these records
  base::Digest previous_ = genesis();
  std::string head_key_;  // of the newest start of an engine that has the journal to itself
  std::string time_;
  Frontier frontier_;
  Position size_ = 0;  // when the first record was read
  UnsignedTail tail_;
  std::vector<Position> stops_;  // of engines, in good order
  std::multimap<std::uint64_t, const TreeHead*> heads_;
  struct Named {
    base::Digest hash{};
    int codec = 0;
    std::int64_t number = 0;
  };
  std::map<std::pair<Position, std::string>, Named> parts_;  // by the heads
  std::optional<StartMarks> marks_;                          // of the last start that says them
};

}  // namespace

base::Result<Verification> verify(const Store& store, const std::vector<TreeHead>& heads) {
  Verifier verifier(store, heads);
  auto scanned =
      store.scan(1, [&](Position position, std::string_view head, const base::Digest& leaf) {
        verifier.record(position, head, leaf);
        return true;
      });
  if (!scanned) {
    return scanned.error();
  }
  if (auto read = verifier.read_keys(); !read) {
    return read.error();
  }
  scanned = store.scan_parts(1, [&](const PartRow& row) {
    verifier.part(row);
    return true;
  });
  if (!scanned) {
    return scanned.error();
  }
  return verifier.finish();
}

}  // namespace engine::journal

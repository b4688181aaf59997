#include "engine/journal/verify.h"

#include <map>
#include <utility>

#include "engine/base/limits.h"
#include "engine/journal/stored.h"

namespace engine::journal {
namespace {

class Verifier {
 public:
  explicit Verifier(const std::vector<TreeHead>& heads) {
    for (const TreeHead& head : heads) {
      heads_.emplace(head.size, &head);
    }
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
    compare_heads();
    const auto head = parse_head(text);
    if (!head) {
      fault(where + ": " + head.error().text());
    } else {
      check_head(*head, position, where);
    }
    previous_ = leaf;
  }

  void part(const PartRow& row) {
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
    } else if (const auto bytes = from_stored(row.part.codec, row.part.bytes); !bytes) {
      fault(where + ": " + bytes.error().text());
    }
    parts_.erase(expected);
  }

  Verification finish() {
    for (const auto& [key, mark] : parts_) {
      fault("record " + std::to_string(key.first) + ", part " + key.second + ": is missing");
    }
    for (auto later = heads_.upper_bound(frontier_.size()); later != heads_.end(); ++later) {
      fault("the tree head of " + later->second->time + " covers " + std::to_string(later->first) +
            " records, the log has " + std::to_string(frontier_.size()) +
            ": the newest ones are missing");
    }
    out.root = frontier_.root();
    return std::move(out);
  }

  Verification out;

 private:
  void compare_heads() {
    const auto [first, last] = heads_.equal_range(frontier_.size());
    for (auto head = first; head != last; ++head) {
      if (head->second->root == frontier_.root()) {
        ++out.heads_agree;
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
    for (const Head::PartMark& mark : head.parts) {
      parts_[{position, mark.name}] = mark;
    }
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

  Position next_position_ = 1;
  base::Digest previous_ = genesis();
  std::string time_;
  Frontier frontier_;
  std::multimap<std::uint64_t, const TreeHead*> heads_;
  std::map<std::pair<Position, std::string>, Head::PartMark> parts_;
};

}  // namespace

base::Result<Verification> verify(const Store& store, const std::vector<TreeHead>& heads) {
  Verifier verifier(heads);
  auto scanned =
      store.scan(1, [&](Position position, std::string_view head, const base::Digest& leaf) {
        verifier.record(position, head, leaf);
        return true;
      });
  if (!scanned) {
    return scanned.error();
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

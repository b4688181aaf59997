#include <algorithm>
#include <utility>

#include "engine/base/limits.h"
#include "engine/json/write.h"
#include "engine/replay/report_pages.h"
#include "engine/replay/reports.h"
#include "engine/replay/said_before.h"

namespace engine::replay {
namespace {

using journal::Kind;
using journal::Record;
using json::Node;

constexpr std::size_t kShownBytesMax = 200;  // of an element; whole ones are in the documents

std::string shown(const Node* node) {
  if (node == nullptr) {
    return {};
  }
  std::string text = json::to_text(*node);
  if (text.size() > kShownBytesMax) {
    std::size_t end = kShownBytesMax;
    while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0U) == 0x80) {
      --end;  // not through the middle of a character
    }
    text = text.substr(0, end) + "...";
  }
  return text;
}

// What an item of an array is found by in another revision.
std::string_view key_of(const Node& item) {
  const std::string_view id = item.string_at("id");
  return !id.empty() ? id : item.string_at("entry");
}

const Node* counterpart(const Node& array, std::string_view key, std::size_t at) {
  std::size_t i = 0;
  for (const Node& item : array) {
    if (key.empty() ? i == at : key_of(item) == key) {
      return &item;
    }
    ++i;
  }
  return nullptr;
}

class Comparison {
 public:
  void compare(const Node* before, const Node* after, const std::string& path) {
    const bool both = before != nullptr && after != nullptr;
    if (both && before->is_object() && after->is_object()) {
      members(*before, *after, path);
    } else if (both && before->is_array() && after->is_array()) {
      items(*before, *after, path);
    } else if (!both || before->kind != after->kind || before->text() != after->text() ||
               before->boolean != after->boolean) {
      changes_.push_back({path, shown(before), shown(after)});
    }
  }
  std::vector<ElementChange> take() { return std::move(changes_); }

 private:
  void members(const Node& before, const Node& after, const std::string& path) {
    const auto below = [&path](const Node& member) {
      return (path.empty() ? "" : path + ".") + std::string(member.name_text());
    };
    for (const Node& member : before) {
      compare(&member, after.find(member.name_text()), below(member));
    }
    for (const Node& member : after) {
      if (before.find(member.name_text()) == nullptr) {
        compare(nullptr, &member, below(member));
      }
    }
  }
  void items(const Node& before, const Node& after, const std::string& path) {
    const auto each = [&](const Node& from, const Node& to, bool only_new) {
      std::size_t at = 0;
      for (const Node& item : from) {
        const std::string_view key = key_of(item);
        const Node* other = counterpart(to, key, at);
        const std::string name =
            path + "[" + (key.empty() ? std::to_string(at) : std::string(key)) + "]";
        if (!only_new) {
          compare(&item, other, name);
        } else if (other == nullptr) {
          compare(nullptr, &item, name);
        }
        ++at;
      }
    };
    each(before, after, false);
    each(after, before, true);
  }

  std::vector<ElementChange> changes_;
};

// A revision of a session that goes on adds entries, moves the end and its own number.
bool only_adds(const std::vector<ElementChange>& changes) {
  return std::all_of(changes.begin(), changes.end(), [](const ElementChange& change) {
    return change.before.empty() || change.path == "status" || change.path == "period.end";
  });
}

// The revisions before one, and what each is for the chart.
struct Earlier {
  enum class Role : std::uint8_t {
    kStands,  // the chart has it, or may have or get it
    kUnsent,  // never got there, and the next one that does takes back what it did
  };
  std::vector<std::pair<const journal::Acceptance*, Role>> revisions;  // rising
  const journal::Acceptance* last = nullptr;                           // of those that stand
};

// When none of them reached any target, the last that was taken in stands for the chart.
Earlier earlier_than(const Record& record, const std::vector<journal::Leg>& legs,
                     const std::vector<journal::Acceptance>& acceptances) {
  Earlier out;
  const journal::Acceptance* taken_in = nullptr;
  for (const journal::Acceptance& one : acceptances) {  // by revision
    if (one.revision >= record.revision) {
      continue;
    }
    const auto any = [&](const auto& is) {
      return std::any_of(legs.begin(), legs.end(), [&](const journal::Leg& leg) {
        return leg.revision == one.revision && is(leg);
      });
    };
    taken_in = &one;
    if (any(journal::stands)) {
      out.revisions.emplace_back(&one, Earlier::Role::kStands);
      out.last = &one;
    } else if (any([](const auto& leg) { return leg.state == journal::LegState::kSuperseded; })) {
      out.revisions.emplace_back(&one, Earlier::Role::kUnsent);
    }
  }
  if (out.last == nullptr && taken_in != nullptr) {
    out.revisions = {{taken_in, Earlier::Role::kStands}};
    out.last = taken_in;
  }
  return out;
}

// "main landed, second held"
std::string states_of(const std::vector<journal::Leg>& legs, std::uint32_t revision) {
  std::string out;
  for (const journal::Leg& leg : legs) {
    if (leg.revision == revision) {
      out +=
          (out.empty() ? "" : ", ") + leg.target + " " + std::string(journal::name_of(leg.state));
    }
  }
  return out;
}

class Reader {
 public:
  Reader(const journal::Store& store, const OnCorrection& visit) : store_(store), visit_(visit) {}

  base::Result<void> read(Record& record) {
    if (record.revision < 2) {
      return {};
    }
    const auto acceptances = store_.acceptances(record.session);
    const auto legs = acceptances ? store_.legs(record.session) : acceptances.error();
    if (!legs) {
      return legs.error();
    }
    const Earlier earlier = earlier_than(record, *legs, *acceptances);
    if (earlier.last == nullptr) {
      return {};  // its first send here
    }
    Correction correction;
    correction.earlier = earlier.last->revision;
    correction.states = states_of(*legs, record.revision);
    correction.patients.insert(record.patient);
    for (const journal::Leg& leg : *legs) {
      correction.patients.insert(leg.patient);
    }
    auto read = read_before(earlier);
    if (read) {
      read = read_document(store_, record.position, after_);
    }
    if (read) {
      tell(record, std::move(correction));
      return {};
    }
    if (read.error().code != base::ErrorCode::kNotFound) {
      return read;
    }
    // Destroyed: that there was a later revision is all that is known.
    correction.reason = "(" + read.error().detail + ")";
    correction.record = std::move(record);
    visit_(correction);
    return {};
  }

 private:
  base::Result<void> read_before(const Earlier& earlier) {
    said_ = {};
    for (const auto& [one, role] : earlier.revisions) {
      if (auto read = read_document(store_, one->position, before_); !read) {
        return read;
      }
      role == Earlier::Role::kStands ? said_.take(*before_.root())
                                     : said_.take_back(*before_.root());
    }
    if (earlier.revisions.back().first == earlier.last) {
      return {};
    }
    return read_document(store_, earlier.last->position, before_);
  }

  void tell(Record& record, Correction correction) {
    said_.add_to(before_);
    said_.take_back(*after_.root());
    said_.settle();
    said_.add_to(after_);
    Comparison comparison;
    comparison.compare(before_.root(), after_.root(), "");
    correction.changes = comparison.take();
    // Said apart: the number goes up by itself, and the reason is not what was corrected. What was
    // taken back stays so when nobody says it again.
    std::erase_if(correction.changes, [](const ElementChange& change) {
      return change.path == "revision" || change.path.substr(0, 6) == "change" ||
             (change.path.starts_with("withdrawal") && change.after.empty());
    });
    const Node* change = after_.root()->find("change");
    if (change == nullptr && only_adds(correction.changes) &&
        after_.root()->find("withdrawal") == nullptr) {
      return;
    }
    if (change != nullptr) {
      correction.reason = change->string_at("reason");
      correction.author = person_text(change->find("author"));
    }
    if (correction.author.empty()) {
      correction.author = person_text(after_.root()->find("therapist"));
    }
    const std::size_t most = base::limits::kIssuesMax;
    correction.more = correction.changes.size() - std::min(correction.changes.size(), most);
    correction.changes.resize(correction.changes.size() - correction.more);
    correction.record = std::move(record);
    visit_(correction);
  }

  static const json::NameTable& names() {
    static const json::NameTable table;
    return table;
  }
  const journal::Store& store_;
  const OnCorrection& visit_;
  json::Document before_{names()};
  json::Document after_{names()};
  SaidBefore said_;  // by the revisions before
};

}  // namespace

base::Result<std::vector<ElementChange>> document_changes(std::string_view before,
                                                          std::string_view after) {
  static const json::NameTable names;
  json::Document first(names);
  json::Document second(names);
  if (auto parsed = first.parse(before); !parsed) {
    return std::move(parsed).error();
  }
  if (auto parsed = second.parse(after); !parsed) {
    return std::move(parsed).error();
  }
  Comparison comparison;
  comparison.compare(first.root(), second.root(), "");
  return comparison.take();
}

base::Result<Unread> corrections(const journal::Store& store, const std::string& patient,
                                 const Range& range, const OnCorrection& visit) {
  journal::Query query;
  query.patient = patient;
  query.kind = Kind::kAccepted;
  query.since = range.since;
  query.until = range.until;
  Reader reader(store, visit);
  Unread unread;
  auto done =
      each_record(store, query, unread, [&reader](Record& record) { return reader.read(record); });
  return done ? base::Result<Unread>(std::move(unread)) : std::move(done).error();
}

}  // namespace engine::replay

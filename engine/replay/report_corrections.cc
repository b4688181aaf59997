#include <algorithm>
#include <utility>

#include "engine/base/limits.h"
#include "engine/json/write.h"
#include "engine/replay/report_pages.h"
#include "engine/replay/reports.h"

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

// The revision before, as the chart had it or may still get it. When none of them reached any
// target, the last that was taken in. Null when there is none.
base::Result<const journal::Acceptance*> revision_before(
    const journal::Store& store, const Record& record,
    const std::vector<journal::Acceptance>& acceptances) {
  const auto legs = store.legs(record.session);
  if (!legs) {
    return legs.error();
  }
  const journal::Acceptance* last = nullptr;
  const journal::Acceptance* standing = nullptr;
  for (const journal::Acceptance& one : acceptances) {
    if (one.revision >= record.revision) {
      continue;
    }
    const auto later_than = [&one](const journal::Acceptance* other) {
      return other == nullptr || one.revision > other->revision;
    };
    const bool stands = std::any_of(legs->begin(), legs->end(), [&one](const journal::Leg& leg) {
      return leg.revision == one.revision && journal::stands(leg);
    });
    last = later_than(last) ? &one : last;
    standing = stands && later_than(standing) ? &one : standing;
  }
  return standing != nullptr ? standing : last;
}

class Reader {
 public:
  Reader(const journal::Store& store, const OnCorrection& visit) : store_(store), visit_(visit) {}

  base::Result<void> read(Record& record) {
    if (record.revision < 2) {
      return {};
    }
    const auto acceptances = store_.acceptances(record.session);
    if (!acceptances) {
      return acceptances.error();
    }
    const auto found = revision_before(store_, record, *acceptances);
    if (!found) {
      return found.error();
    }
    const journal::Acceptance* const earlier = *found;
    if (earlier == nullptr) {
      return {};  // its first send here
    }
    auto read = read_document(store_, earlier->position, before_);
    if (read) {
      read = read_document(store_, record.position, after_);
    }
    if (read) {
      tell(record, earlier->revision);
      return {};
    }
    if (read.error().code != base::ErrorCode::kNotFound) {
      return read;
    }
    // Destroyed: that there was a later revision is all that is known.
    Correction correction;
    correction.earlier = earlier->revision;
    correction.reason = "(" + read.error().detail + ")";
    correction.record = std::move(record);
    visit_(correction);
    return {};
  }

 private:
  void tell(Record& record, std::uint32_t earlier) {
    Correction correction;
    Comparison comparison;
    comparison.compare(before_.root(), after_.root(), "");
    correction.changes = comparison.take();
    // Said apart: the number goes up by itself, and the reason is not what was corrected.
    std::erase_if(correction.changes, [](const ElementChange& change) {
      return change.path == "revision" || change.path.substr(0, 6) == "change";
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
    correction.earlier = earlier;
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

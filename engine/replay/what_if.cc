#include <mutex>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "engine/intake/translation.h"
#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/replay/entry_texts.h"
#include "engine/replay/history.h"
#include "engine/replay/replay.h"

namespace engine::replay {
namespace {

using json::Node;

// Shown of an example; a difference is read by a person.
constexpr std::size_t kExampleBytes = 200;

// The bytes differ and nothing that they say does, or how often they say it.
constexpr std::string_view kSameOtherwise = "Bundle: the same, written in another order";

std::string shortened(const Node& node) {
  std::string text = json::to_text(node);
  if (text.size() > kExampleBytes) {
    std::size_t end = kExampleBytes;
    while (end > 0 && (static_cast<unsigned char>(text[end]) & 0xC0) == 0x80) {
      --end;  // whole characters only
    }
    text = text.substr(0, end) + "...";
  }
  return text;
}

Change change_of(std::string kind, const Node* before, const Node* after) {
  Change change;
  change.kind = std::move(kind);
  change.before = before != nullptr ? shortened(*before) : std::string();
  change.after = after != nullptr ? shortened(*after) : std::string();
  change.element = json::pointer_of(after != nullptr ? *after : *before);
  return change;
}

// Differences of two values; paths name members only, so that the same change at many places is one
// kind.
void compare(const Node& before, const Node& after, const std::string& path,
             std::vector<Change>& out) {
  if (json::deep_equal(before, after)) {
    return;
  }
  if (before.is_object() && after.is_object()) {
    for (const Node& member : before) {
      const std::string name = path + "." + std::string(member.name_text());
      if (const Node* other = after.find(member.name_text())) {
        compare(member, *other, name, out);
      } else {
        out.push_back(change_of(name + " removed", &member, nullptr));
      }
    }
    for (const Node& member : after) {
      if (before.find(member.name_text()) == nullptr) {
        out.push_back(
            change_of(path + "." + std::string(member.name_text()) + " added", nullptr, &member));
      }
    }
    return;
  }
  if (before.is_array() && after.is_array() && before.count == after.count) {
    for (const Node *a = before.first, *b = after.first; a != nullptr; a = a->next, b = b->next) {
      compare(*a, *b, path, out);
    }
    return;
  }
  out.push_back(change_of(path + " changed", &before, &after));
}

const Node* entry_with(const Node& entries, std::string_view full_url) {
  for (const Node& entry : entries) {
    if (entry.string_at("fullUrl") == full_url) {
      return &entry;
    }
  }
  return nullptr;
}

std::string type_of(const Node& entry) {
  const Node* resource = entry.find("resource");
  return resource != nullptr ? std::string(resource->string_at("resourceType")) : "entry";
}

void compare_entry(const Node& before, const Node& after, std::vector<Change>& out) {
  const std::string type = type_of(after);
  for (const Node& member : before) {
    const Node* other = after.find(member.name_text());
    const std::string path =
        member.name_text() == "resource" ? type : type + "/" + std::string(member.name_text());
    if (other != nullptr) {
      compare(member, *other, path, out);
    } else {
      out.push_back(change_of(path + " removed", &member, nullptr));
    }
  }
  for (const Node& member : after) {
    if (before.find(member.name_text()) == nullptr) {
      out.push_back(
          change_of(type + "/" + std::string(member.name_text()) + " added", nullptr, &member));
    }
  }
}

// What the Bundles have beside their entries.
void compare_frames(const Node& before, const Node& after, std::vector<Change>& out) {
  const auto each_other = [](const Node& one, const auto& work) {
    for (const Node& member : one) {
      if (member.name_text() != "entry") {
        work(member, std::string(member.name_text()));
      }
    }
  };
  each_other(before, [&](const Node& member, const std::string& name) {
    if (const Node* other = after.find(name)) {
      compare(member, *other, "Bundle." + name, out);
    } else {
      out.push_back(change_of("Bundle." + name + " removed", &member, nullptr));
    }
  });
  each_other(after, [&](const Node& member, const std::string& name) {
    if (before.find(name) == nullptr) {
      out.push_back(change_of("Bundle." + name + " added", nullptr, &member));
    }
  });
}

// Entries are matched by fullUrl, which comes from what is recorded and not from the maps.
std::vector<Change> compare_bundles(const std::string& before_text, const std::string& after_text) {
  static const json::NameTable names;
  json::Document before(names);
  json::Document after(names);
  std::vector<Change> out;
  const bool had = !before_text.empty() && before.parse(before_text).has_value();
  const bool has = !after_text.empty() && after.parse(after_text).has_value();
  if (!had || !has) {
    if (had != has) {
      out.push_back({has ? "bundle added" : "bundle removed", "", ""});
    }
    return out;
  }
  const Node* old_entries = before.root()->find("entry");
  const Node* new_entries = after.root()->find("entry");
  if (old_entries == nullptr || new_entries == nullptr) {
    compare(*before.root(), *after.root(), "Bundle", out);
    return out;
  }
  for (const Node& entry : *old_entries) {
    if (const Node* other = entry_with(*new_entries, entry.string_at("fullUrl"))) {
      compare_entry(entry, *other, out);
    } else {
      out.push_back(change_of(type_of(entry) + " removed", &entry, nullptr));
    }
  }
  for (const Node& entry : *new_entries) {
    if (entry_with(*old_entries, entry.string_at("fullUrl")) == nullptr) {
      out.push_back(change_of(type_of(entry) + " added", nullptr, &entry));
    }
  }
  compare_frames(*before.root(), *after.root(), out);
  return out;
}

std::string verdict_text(bool ready, const std::string& reason) {
  return ready ? "ready" : "held (" + reason + ")";
}

}  // namespace

std::vector<Change> differences(const Made& before, const Made& after) {
  std::vector<Change> changes;
  if (after.ready != before.ready || (!after.ready && after.reason != before.reason)) {
    changes.push_back({"verdict: " + verdict_text(after.ready, after.reason) + ", was " +
                           verdict_text(before.ready, before.reason),
                       "", ""});
  }
  if (after.bundle != before.bundle) {
    for (Change& change : compare_bundles(before.bundle, after.bundle)) {
      changes.push_back(std::move(change));
    }
    if (changes.empty()) {
      changes.push_back({std::string(kSameOtherwise), "", ""});
    }
  }
  return changes;
}

base::Result<WhatIfReport> what_if(const journal::Store& store, const intake::SessionCore& core,
                                   const Range& range, std::size_t threads,
                                   const OnProgress& on_progress, const Whose& whose) {
  WhatIfReport report;
  Walk rules;
  rules.bundles_only = true;
  std::mutex mutex;
  rules.skip = [&](const journal::Record& record) {
    const bool others = !whose.holds(record.target);
    if (others) {
      const std::lock_guard lock(mutex);
      ++report.left_out[record.target];
    }
    return others;
  };
  rules.compare = [&](const Journalled& made, const base::Result<therapy::Translation>& again) {
    std::vector<Change> changes;
    if (!again) {
      changes.push_back({"cannot be compared: " + again.error().detail, "", ""});
    } else {
      Made before{made.record.kind == journal::Kind::kChecked, intake::reason_of(made.record),
                  made.bundle};
      Made after{again->verdict == therapy::Verdict::kReady, intake::reason_of(*again),
                 again->bundle};
      const bool other = before.bundle != after.bundle;
      if (other) {
        keep_entries_that_differ(before.bundle, after.bundle);
      }
      changes = differences(before, after);
      if (other && changes.empty()) {
        changes.push_back({std::string(kSameOtherwise), "", ""});
      }
    }
    const std::lock_guard lock(mutex);
    ++report.translations;
    ++report.compared[made.record.target];
    report.same += changes.empty() ? 1U : 0U;
    for (Change& change : changes) {
      Difference& difference = report.differences[change.kind];
      // The same example whatever the threads did first.
      if (difference.count++ == 0 || made.record.position < difference.example.position) {
        difference.example = fault_at(made.record, change.kind);
        difference.before = std::move(change.before);
        difference.after = std::move(change.after);
      }
    }
  };
  rules.destroyed = [&](const journal::Record&) {
    const std::lock_guard lock(mutex);
    ++report.destroyed;
  };
  rules.on_progress = on_progress;
  if (auto walked = walk(store, core, range, threads, rules); !walked) {
    return walked.error();
  }
  return report;
}

}  // namespace engine::replay

#include "engine/web/sheet_document.h"

#include <algorithm>
#include <charconv>
#include <set>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/web/sheet_limits.h"

namespace engine::web {
namespace {

using base::Error;
using base::ErrorCode;
using json::Node;

constexpr std::string_view kPatient = R"({"display":"The patient","role":"patient"})";

const json::NameTable& names() {
  static const json::NameTable table;
  return table;
}

std::string quoted(std::string_view text) {
  std::string out;
  json::write_string(text, out);
  return out;
}

// --- The document that is there

bool is_patients(const Node& entry) {
  const Node* by = entry.find("recordedBy");
  return by != nullptr && by->string_at("role") == "patient";
}

std::set<std::string_view> texts_of(const Node& root, std::string_view list,
                                    std::string_view name) {
  std::set<std::string_view> out;
  if (const Node* items = root.find(list)) {
    for (const Node& item : *items) {
      out.insert(item.string_at(name));
    }
  }
  return out;
}

// Of the whole session, or of single entries.
bool is_attested(const Node& root, std::string_view id) {
  const Node* attestations = root.find("attestation");
  if (attestations == nullptr) {
    return false;
  }
  for (const Node& one : *attestations) {
    const Node* entries = one.find("entry");
    if (entries == nullptr) {
      return true;
    }
    for (const Node& entry : *entries) {
      if (entry.text() == id) {
        return true;
      }
    }
  }
  return false;
}

const Node* entry_of(const Node& root, std::string_view id) {
  if (const Node* entries = root.find("entry")) {
    for (const Node& entry : *entries) {
      if (entry.string_at("id") == id) {
        return &entry;
      }
    }
  }
  return nullptr;
}

// What of the report is news to the document.
struct News {
  std::vector<const SheetEntry*> added;
  std::vector<std::string> withdrawn;
};

base::Result<News> news_of(const Node& root, const SheetReport& report) {
  News news;
  const auto withdrawn = texts_of(root, "withdrawal", "entry");
  std::set<std::string_view> back(report.taken_back.begin(), report.taken_back.end());
  for (const std::string_view id : back) {
    const Node* entry = entry_of(root, id);
    if (entry == nullptr || !is_patients(*entry)) {
      continue;  // it never came, is gone already, or is none of the patient's
    }
    if (is_attested(root, id)) {
      return Error(ErrorCode::kConflict,
                   "a therapist has looked at this already; tell your therapist or nurse");
    }
    news.withdrawn.emplace_back(id);
  }
  std::set<std::string_view> seen;
  for (const SheetEntry& entry : report.entries) {
    if (back.count(entry.id) == 0 && withdrawn.count(entry.id) == 0 &&
        entry_of(root, entry.id) == nullptr && seen.insert(entry.id).second) {
      news.added.push_back(&entry);
    }
  }
  const Node* entries = root.find("entry");
  const std::size_t known = entries != nullptr ? entries->count : 0;
  if (known + news.added.size() > base::limits::kSheetEntriesMax) {
    return Error(ErrorCode::kLimit, "this sheet is full; ask your therapist for a new one");
  }
  return news;
}

// The earlier or later of a document's own time and a new one, as text.
std::string_view bound(std::string_view known, std::string_view fresh, bool earlier) {
  const auto a = milliseconds_of(known);
  const auto b = milliseconds_of(fresh);
  if (known.empty() || !b) {
    return known.empty() ? fresh : known;
  }
  return a && (earlier ? *b < *a : *a < *b) ? fresh : known;
}

std::string period_of(const Node& root, const News& news) {
  const Node* period = root.find("period");
  std::string_view start = period != nullptr ? period->string_at("start") : "";
  std::string_view end = period != nullptr ? period->string_at("end") : "";
  for (const SheetEntry* entry : news.added) {
    start = bound(start, entry->time, true);
    end = bound(end.empty() ? start : end, entry->time, false);
  }
  return R"({"start":)" + quoted(start) + R"(,"end":)" + quoted(end) + "}";
}

void add_member(std::string& out, std::string_view name, const std::string& value) {
  out += ",\"";
  out.append(name).append("\":").append(value);
}

// The items of a list of the document but for the entries that are gone, with new ones behind them.
std::string list_of(const Node& root, std::string_view name, const std::vector<std::string>& gone,
                    const std::vector<std::string>& fresh) {
  std::string out;
  if (const Node* items = root.find(name)) {
    for (const Node& item : *items) {
      if (std::find(gone.begin(), gone.end(), item.string_at("id")) == gone.end()) {
        out += (out.empty() ? "" : ",") + json::to_text(item);
      }
    }
  }
  for (const std::string& item : fresh) {
    out += (out.empty() ? "" : ",") + item;
  }
  return out.empty() ? out : "[" + out + "]";
}

std::string print(const Node& root, std::uint64_t revision, const News& news,
                  std::string_view now) {
  static const std::set<std::string_view> kOwn = {
      "resourceType", "revision", "status", "period", "change", "withdrawal", "entry", "expires"};
  std::string out = R"({"resourceType":"TherapySession")";
  for (const Node& member : root) {
    if (kOwn.count(member.name_text()) == 0) {
      add_member(out, member.name_text(), json::to_text(member));
    }
  }
  add_member(out, "revision", std::to_string(revision));
  // Each report is whole in itself: what was done is done, and the next one lengthens the session.
  add_member(out, "status", "\"closed\"");
  add_member(out, "period", period_of(root, news));
  if (revision > 1) {
    const char* why =
        news.withdrawn.empty() ? "Reported by the patient" : "Taken back by the patient";
    add_member(out, "change",
               R"({"reason":")" + std::string(why) + R"(","author":)" + std::string(kPatient) +
                   R"(,"time":)" + quoted(now) + "}");
  }
  std::vector<std::string> withdrawals;
  withdrawals.reserve(news.withdrawn.size());
  for (const std::string& id : news.withdrawn) {
    withdrawals.push_back(R"({"entry":)" + quoted(id) +
                          R"(,"reason":"Taken back by the patient"})");
  }
  std::vector<std::string> entries;
  entries.reserve(news.added.size());
  for (const SheetEntry* entry : news.added) {
    entries.push_back(R"({"id":)" + quoted(entry->id) + R"(,"time":)" + quoted(entry->time) +
                      R"(,"recordedBy":)" + std::string(kPatient) + "," + entry->kind + "}");
  }
  for (const auto& [name, text] :
       {std::pair("withdrawal", list_of(root, "withdrawal", {}, withdrawals)),
        std::pair("entry", list_of(root, "entry", news.withdrawn, entries))}) {
    if (!text.empty()) {
      add_member(out, name, text);
    }
  }
  return out + "}";
}

std::string amount_text(const Node& object, std::string_view name) {
  const Node* quantity = object.find(name);
  const Node* value = quantity != nullptr ? quantity->find("value") : nullptr;
  return value != nullptr ? json::to_text(*value) : std::string();
}

// "" when it is nothing that the sheet shows.
std::string reported_kind(const Node& entry) {
  std::string out;
  const auto add = [&out](std::string_view name, const std::string& value) {
    if (!value.empty()) {
      out += (out.empty() ? "\"" : ",\"") + std::string(name) + "\":" + value;
    }
  };
  if (const Node* set = entry.find("breathingExerciser")) {
    const Node* breaths = set->find("breaths");
    const Node* volumes = set->find("repetition");
    add("breaths", breaths != nullptr   ? json::to_text(*breaths)
                   : volumes != nullptr ? std::to_string(volumes->count)
                                        : std::string());
    if (volumes != nullptr && volumes->first != nullptr) {
      add("best", amount_text(*volumes->first, "volume"));
    }
    return out.empty() ? out : "\"set\":{" + out + "}";
  }
  if (const Node* vitals = entry.find("vitals")) {
    add("saturation", amount_text(*vitals, "saturation"));
    add("pulse", amount_text(*vitals, "pulse"));
    return out.empty() ? out : "\"reading\":{" + out + "}";
  }
  return out;
}

}  // namespace

base::Result<NextDocument> next_document(std::string_view frame, std::string_view latest,
                                         const SheetReport& report, std::string_view now) {
  json::Document document(names());
  if (!document.parse(latest.empty() ? frame : latest).has_value() ||
      !document.root()->is_object()) {
    return Error(ErrorCode::kCorrupt, "what was kept of the sheet is no JSON");
  }
  const Node& root = *document.root();
  const auto news = news_of(root, report);
  if (!news) {
    return news.error();
  }
  if (news->added.empty() && news->withdrawn.empty()) {
    return NextDocument{};
  }
  std::uint64_t revision = 0;
  if (const Node* last = root.find("revision")) {
    const std::string_view text = last->text();
    std::from_chars(text.data(), text.data() + text.size(), revision);
  }
  return NextDocument{print(root, revision + 1, *news, now), true};
}

std::string reported_view(std::string_view latest) {
  json::Document document(names());
  const Node* entries = !latest.empty() && document.parse(latest).has_value()
                            ? document.root()->find("entry")
                            : nullptr;
  std::string out = "[";
  for (const Node* entry = entries != nullptr ? entries->first : nullptr; entry != nullptr;
       entry = entry->next) {
    const std::string kind = is_patients(*entry) ? reported_kind(*entry) : std::string();
    if (!kind.empty()) {
      out += out.size() > 1 ? ",{" : "{";
      out += "\"id\":" + quoted(entry->string_at("id")) +
             ",\"time\":" + quoted(entry->string_at("time")) + "," + kind +
             (is_attested(*document.root(), entry->string_at("id")) ? ",\"seen\":true}" : "}");
    }
  }
  return out + "]";
}

}  // namespace engine::web

#include "engine/cli/try_out.h"

#include <algorithm>
#include <charconv>
#include <cstdint>
#include <optional>
#include <utility>

#include "engine/base/hash.h"
#include "engine/base/limits.h"
#include "engine/cli/set_samples.h"
#include "engine/intake/translation.h"
#include "engine/json/write.h"
#include "engine/replay/replay.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using therapy::Translation;

void member(std::string& out, std::string_view name, std::string_view text) {
  out += out.ends_with('{') ? "\"" : ",\"";
  out.append(name).append("\":");
  json::write_string(text, out);
}

const base::SourceFile* named(const std::vector<base::SourceFile>& files, std::string_view name) {
  const auto found =
      std::find_if(files.begin(), files.end(), [&](const auto& one) { return one.name == name; });
  return found == files.end() ? nullptr : &*found;
}

std::string key_of(const SetIds& ids, const std::vector<base::SourceFile>& files) {
  std::string all = ids.name();
  for (const base::SourceFile& file : files) {
    all += " " + file.name + "=" + base::sha256_hex(file.bytes);
  }
  return base::sha256_hex(all);
}

// Lays the files over those in force, and says which of them differ.
std::vector<std::string> lay_over(const std::vector<base::SourceFile>& files,
                                  std::vector<base::SourceFile>& in_force) {
  std::vector<std::string> changed;
  for (const base::SourceFile& file : files) {
    const base::SourceFile* known = named(in_force, file.name);
    if (known != nullptr && known->bytes == file.bytes) {
      continue;
    }
    changed.push_back(file.name);
    if (known != nullptr) {
      in_force[static_cast<std::size_t>(known - in_force.data())].bytes = file.bytes;
    } else {
      in_force.push_back(file);
    }
  }
  return changed;
}

// "entry-note.map:12:5" -> its parts; a place without a line has 0.
struct FilePlace {
  std::string file;
  std::uint32_t line = 0;
  std::uint32_t column = 0;
};

std::optional<std::uint32_t> cut_number(std::string& text) {
  const std::size_t colon = text.rfind(':');
  std::uint32_t number = 0;
  if (colon == std::string::npos) {
    return std::nullopt;
  }
  const auto [end, error] =
      std::from_chars(text.data() + colon + 1, text.data() + text.size(), number);
  if (error != std::errc() || end != text.data() + text.size()) {
    return std::nullopt;
  }
  text.resize(colon);
  return number;
}

FilePlace place_of(std::string where) {
  FilePlace place;
  const auto last = cut_number(where);
  const auto first = last ? cut_number(where) : std::nullopt;
  place.line = first ? *first : last.value_or(0);
  place.column = first ? *last : 0;
  place.file = std::move(where);
  return place;
}

// What the session's revision was made of.
Result<std::vector<therapy::Revision>> basis_in_journal(const journal::Store& store,
                                                        const std::string& session,
                                                        std::uint32_t revision) {
  journal::Record made;
  for (const journal::Kind kind : {journal::Kind::kChecked, journal::Kind::kHeld}) {
    journal::Query query;
    query.session = session;
    query.kind = kind;
    query.newest_first = true;
    query.limit = base::limits::kHistoryRecordsMax;
    const auto records = store.search(query);
    if (!records) {
      return records.error();
    }
    for (const journal::Record& record : *records) {
      if (record.revision == revision && record.position > made.position &&
          !intake::basis_of(record.made_with).revisions.empty()) {
        made = record;
      }
    }
  }
  if (made.position != 0) {
    return intake::load_basis(store, made);
  }
  // It waits to be translated.
  const auto legs = store.legs(session);
  if (!legs) {
    return legs.error();
  }
  const auto leg = std::find_if(legs->begin(), legs->end(),
                                [&](const auto& one) { return one.revision == revision; });
  const auto known = store.acceptances(session);
  if (!known) {
    return known.error();
  }
  return intake::load_revisions(
      store, session,
      leg != legs->end() ? intake::basis_of(*leg, *legs, *known) : intake::Basis{{revision}, {}},
      intake::Lost::kMarked);
}

Result<std::vector<therapy::Revision>> revisions_of(const journal::Store& store,
                                                    const std::string& session,
                                                    std::uint32_t& revision) {
  const auto known = store.acceptances(session);
  if (!known) {
    return known.error();
  }
  const auto wanted = [&](const journal::Acceptance& one) { return one.revision == revision; };
  if (revision == 0) {
    for (const journal::Acceptance& one : *known) {
      revision = std::max(revision, one.revision);
    }
  }
  if (std::none_of(known->begin(), known->end(), wanted)) {
    return Error(ErrorCode::kNotFound, "there is no such session or revision in the journal");
  }
  return basis_in_journal(store, session, revision);
}

// Writes parts one after the other, as long as they fit.
class Parts {
 public:
  explicit Parts(std::string& out) : out_(out) {}
  void add(std::string_view name, std::string_view json) {
    if (json.empty()) {
      return;
    }
    if (out_.size() + json.size() > base::limits::kHistoryBytesMax) {
      left_ += left_.empty() ? "\"" : ",\"";
      left_.append(name).append("\"");
      return;
    }
    out_ += out_.ends_with('{') ? "\"" : ",\"";
    out_.append(name).append("\":").append(json);
  }
  std::string left() const { return "[" + left_ + "]"; }

 private:
  std::string& out_;
  std::string left_;
};

const char* word_of(therapy::Verdict verdict) {
  switch (verdict) {
    case therapy::Verdict::kReady:
      return "ready";
    case therapy::Verdict::kHeld:
      return "held";
    case therapy::Verdict::kRefused:
      break;
  }
  return "refused";
}

replay::Made made_of(const Translation& made) {
  return {made.verdict == therapy::Verdict::kReady, made.hold_reason, made.bundle};
}

std::string changes_text(const std::vector<replay::Change>& changes) {
  std::string out = "[";
  for (const replay::Change& change : changes) {
    out += out.size() > 1 ? ",{" : "{";
    member(out, "kind", change.kind);
    member(out, "element", change.element);
    member(out, "before", change.before);
    member(out, "after", change.after);
    out += "}";
  }
  return out + "]";
}

void write_changed(const TrialSet& trial, std::string& out) {
  out += ",\"changed\":[";
  for (std::size_t i = 0; i < trial.changed.size(); ++i) {
    out += i > 0 ? "," : "";
    json::write_string(trial.changed[i], out);
  }
  out += "]";
  if (!trial.failing_sample.empty()) {
    member(out, "failingSample", trial.failing_sample);
  }
}

}  // namespace

Result<std::string> files_in_force(const MappingSets& sets) {
  const SetIds ids = sets.in_force().ids;
  auto sources = sets.files_of(ids);
  if (!sources) {
    return std::move(sources).error();
  }
  std::sort(sources->mappings.begin(), sources->mappings.end(),
            [](const auto& a, const auto& b) { return a.name < b.name; });
  std::string out = "{";
  member(out, "set", ids.name());
  out += ",\"files\":[";
  for (const base::SourceFile& file : sources->mappings) {
    out += out.ends_with('[') ? "{" : ",{";
    member(out, "name", file.name);
    member(out, "hash", base::sha256_hex(file.bytes));
    out += ",\"bytes\":" + std::to_string(file.bytes.size()) + "}";
  }
  return out + "]}";
}

Result<std::string> file_in_force(const MappingSets& sets, std::string_view name) {
  const auto sources = sets.files_of(sets.in_force().ids);
  if (!sources) {
    return sources.error();
  }
  const base::SourceFile* file = named(sources->mappings, name);
  if (file == nullptr) {
    return Error(ErrorCode::kNotFound,
                 "the set in force has no file of this name; GET /mapping/files lists them");
  }
  return file->bytes;
}

Result<std::shared_ptr<const TrialSet>> compile_trial(const MappingSets& sets,
                                                      const std::vector<base::SourceFile>& files,
                                                      std::shared_ptr<const TrialSet> known) {
  const MappingSets::InForce in_force = sets.in_force();
  const std::string key = key_of(in_force.ids, files);
  if (known != nullptr && known->key == key) {
    return known;
  }
  known.reset();  // a set takes memory
  auto sources = sets.files_of(in_force.ids);
  if (!sources) {
    return std::move(sources).error();
  }
  auto trial = std::make_shared<TrialSet>();
  trial->key = key;
  trial->in_force = in_force;
  trial->changed = lay_over(files, sources->mappings);
  if (trial->changed.empty()) {
    trial->translator = in_force.translator;
    return std::shared_ptr<const TrialSet>(std::move(trial));
  }
  auto translator = therapy::Translator::load(std::move(*sources), &trial->problems);
  if (!translator) {
    if (trial->problems.empty()) {
      trial->problems.push_back(std::move(translator).error());
    }
    return std::shared_ptr<const TrialSet>(std::move(trial));
  }
  trial->translator = std::move(*translator);
  trial->failing_sample = failing_sample(*trial->translator, sets.folders().mappings);
  return std::shared_ptr<const TrialSet>(std::move(trial));
}

web::TryOutTold told_problems(const TrialSet& trial) {
  web::TryOutTold told;
  std::string& out = told.body;
  out = "{\"compiled\":false";
  write_changed(trial, out);
  out += ",\"problems\":[";
  for (const Error& error : trial.problems) {
    const FilePlace place = place_of(error.where);
    out += out.ends_with('[') ? "{" : ",{";
    member(out, "file", place.file);
    out +=
        ",\"line\":" + std::to_string(place.line) + ",\"column\":" + std::to_string(place.column);
    member(out, "text", error.detail);
    out += "}";
  }
  out += "]}";
  return told;
}

Result<web::TryOutTold> try_document(const TrialSet& trial, const journal::Store& store,
                                     const web::TryOutWish& wish, const std::string& now) {
  web::TryOutTold told;
  std::vector<therapy::Revision> revisions;
  if (wish.session.empty()) {
    revisions.push_back({wish.document, now});
  } else {
    std::uint32_t revision = wish.revision;
    auto loaded = revisions_of(store, wish.session, revision);
    if (!loaded) {
      return std::move(loaded).error();
    }
    revisions = std::move(*loaded);
    told.reads.push_back({wish.session, revision});
  }
  const Translation made = trial.translator->translate(revisions, {.rule_runs = true});
  const Translation before = trial.in_force.translator->translate(revisions, {.lineage = false});
  std::string& out = told.body;
  out = "{\"compiled\":true";
  write_changed(trial, out);
  Parts parts(out);
  member(out, "set", ids_of(trial.translator->provenance()).name());
  member(out, "setInForce", trial.in_force.ids.name());
  member(out, "verdict", word_of(made.verdict));
  member(out, "reason", made.hold_reason);
  member(out, "verdictInForce", word_of(before.verdict));
  member(out, "reasonInForce", before.hold_reason);
  parts.add("outcome", fhir::to_operation_outcome(made.issues));
  parts.add("differences", changes_text(replay::differences(made_of(before), made_of(made))));
  parts.add("ruleRuns", made.rule_runs);
  parts.add("bundle", made.bundle);
  parts.add("lineage", made.lineage);
  parts.add("bundleInForce", before.bundle);
  out += ",\"left\":" + parts.left() + "}";
  return told;
}

}  // namespace engine::cli

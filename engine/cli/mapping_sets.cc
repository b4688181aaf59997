#include "engine/cli/mapping_sets.h"

#include <algorithm>
#include <filesystem>
#include <utility>
#include <vector>

#include "engine/base/hash.h"
#include "engine/base/limits.h"
#include "engine/cli/embedded.h"
#include "engine/cli/files.h"
#include "engine/cli/read_file.h"
#include "engine/cli/set_samples.h"
#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/replay/replay.h"

namespace engine::cli {

using base::Error;
using base::ErrorCode;
using base::Result;

namespace {

// The file that says which set is in force: "in-force.json", of a target "in-force-NAME.json".
constexpr const char* kInForce = "in-force";
constexpr std::string_view kStateEnd = ".json";

// What the files of a site's folders are, cheaply: names, sizes and times of change.
void add_signature(const std::string& path, std::string& out) {
  namespace fs = std::filesystem;
  std::error_code problem;
  const auto add = [&out](const fs::directory_entry& entry) {
    std::error_code ignored;
    out += entry.path().string() + " " + std::to_string(entry.file_size(ignored)) + " " +
           std::to_string(entry.last_write_time(ignored).time_since_epoch().count()) + "\n";
  };
  if (path.empty()) {
    return;
  }
  if (!fs::is_directory(path, problem)) {
    add(fs::directory_entry(path, problem));
    return;
  }
  std::vector<fs::directory_entry> entries;
  for (fs::recursive_directory_iterator at(path, problem), end; at != end; at.increment(problem)) {
    if (at->is_regular_file(problem)) {
      entries.push_back(*at);
    }
  }
  std::sort(entries.begin(), entries.end());
  std::for_each(entries.begin(), entries.end(), add);
}

std::string signature_of(const TranslatorFiles& files) {
  std::string text;
  add_signature(files.mappings, text);
  add_signature(files.profiles, text);
  add_signature(files.settings, text);
  return base::sha256_hex(text);
}

bool said(std::string_view text) {
  return text.find_first_not_of(" \t\r\n") != std::string_view::npos;
}

Result<void> named_with_reason(std::string_view by, std::string_view why) {
  if (!said(by) || !said(why)) {
    return Error(ErrorCode::kInvalid, "a set is put in force by a named person with a reason",
                 !said(by) ? "actor" : "why");
  }
  return {};
}

}  // namespace

class Shadow {
 public:
  void count(const replay::Made& before, const replay::Made& after) {
    const std::vector<replay::Change> changes = replay::differences(before, after);
    const std::lock_guard lock(mutex_);
    ++translations_;
    same_ += changes.empty() ? 1U : 0U;
    for (const replay::Change& change : changes) {
      if (kinds_.size() < base::limits::kIssuesMax || kinds_.count(change.kind) != 0) {
        ++kinds_[change.kind];
      }
    }
  }
  void write(std::string& out) const {
    const std::lock_guard lock(mutex_);
    out += R"("shadow":{"translations":)" + std::to_string(translations_) + R"(,"same":)" +
           std::to_string(same_) + R"(,"differences":[)";
    bool first = true;
    for (const auto& [kind, count] : kinds_) {
      out += first ? R"({"kind":)" : R"(,{"kind":)";
      first = false;
      json::write_string(kind, out);
      out += R"(,"count":)" + std::to_string(count) + "}";
    }
    out += "]}";
  }

 private:
  mutable std::mutex mutex_;
  std::uint64_t translations_ = 0;
  std::uint64_t same_ = 0;
  std::map<std::string, std::uint64_t> kinds_;  // no values of patients are in a kind
};

// One set for one piece of work, with the waiting one in its shadow.
class MappingSets::Pinned final : public intake::SessionCore {
 public:
  Pinned(Set in_force, std::optional<Set> waiting, std::shared_ptr<Shadow> shadow)
      : in_force_(std::move(in_force)), waiting_(std::move(waiting)), shadow_(std::move(shadow)) {}

  therapy::Translator::Admission admit(std::string_view body) const override {
    return in_force_.translator->admit(body);
  }
  base::Result<therapy::Moved> move(const therapy::Movable& session,
                                    const therapy::Move& wanted) const override {
    return in_force_.translator->move(session, wanted);
  }
  therapy::Translation translate(std::span<const therapy::Revision> revisions) const override {
    therapy::Translation made = in_force_.translator->translate(revisions);
    if (waiting_) {
      const therapy::Translation other =
          waiting_->translator->translate(revisions, {.lineage = false});
      shadow_->count({made.verdict == therapy::Verdict::kReady, made.hold_reason, made.bundle},
                     {other.verdict == therapy::Verdict::kReady, other.hold_reason, other.bundle});
    }
    return made;
  }
  const therapy::Provenance& provenance() const override {
    return in_force_.translator->provenance();
  }
  const Set& in_force() const { return in_force_; }

 private:
  Set in_force_;
  std::optional<Set> waiting_;
  std::shared_ptr<Shadow> shadow_;
};

MappingSets::MappingSets(Options options) : options_(std::move(options)), kept_(options_.folder) {}
MappingSets::~MappingSets() = default;

Result<MappingSets::Set> MappingSets::load_files() const {
  Result<therapy::Sources> sources = read_sources(options_.files);
  if (!sources) {
    return std::move(sources).error();
  }
  const therapy::Sources kept = *sources;
  sources->conditions = options_.conditions;
  auto translator = therapy::Translator::load(std::move(*sources));
  if (!translator) {
    return std::move(translator).error();
  }
  Set set;
  set.translator = std::move(*translator);
  set.ids = ids_of(set.translator->provenance());
  if (Result<void> done = kept_.keep(kept, set.ids); !done) {
    return done.error();
  }
  return set;
}

Result<MappingSets::Set> MappingSets::load_kept(const SetIds& ids) const {
  Result<therapy::Sources> sources = kept_.read(ids);
  if (!sources) {
    return std::move(sources).error();
  }
  sources->conditions = options_.conditions;
  auto translator = KeptSets::make(std::move(*sources), ids);
  if (!translator) {
    return std::move(translator).error();
  }
  Set set;
  set.ids = ids;
  set.translator = std::move(*translator);
  return set;
}

// Target names are plain (check_config()).
std::string MappingSets::state_file() const {
  return options_.folder + "/" + kInForce + (options_.target.empty() ? "" : "-" + options_.target) +
         std::string(kStateEnd);
}

std::set<std::string> targets_with_sets(const std::string& folder) {
  namespace fs = std::filesystem;
  const std::string begin = std::string(kInForce) + "-";
  std::set<std::string> out;
  std::error_code problem;
  for (fs::directory_iterator at(folder, problem), end; at != end; at.increment(problem)) {
    const std::string name = at->path().filename().string();
    if (name.starts_with(begin) && name.ends_with(kStateEnd)) {
      out.insert(name.substr(begin.size(), name.size() - begin.size() - kStateEnd.size()));
    }
  }
  return out;
}

Result<std::unique_ptr<MappingSets>> MappingSets::open(Options options) {
  std::unique_ptr<MappingSets> sets(new MappingSets(std::move(options)));
  sets->seen_ = signature_of(sets->options_.files);
  SetIds in_force;
  std::string by;
  std::string why;
  if (const auto text = read_file(sets->state_file())) {
    const json::NameTable names;
    json::Document state(names);
    if (Result<void> parsed = state.parse(*text); !parsed) {
      return Error(ErrorCode::kCorrupt, parsed.error().text(), sets->state_file());
    }
    const auto ids = [&state](std::string_view member) {
      const json::Node* node = state.root()->find(member);
      return node == nullptr ? SetIds()
                             : SetIds{std::string(node->string_at("mapping")),
                                      std::string(node->string_at("profiles")),
                                      std::string(node->string_at("settings"))};
    };
    in_force = ids("inForce");
    sets->set_aside_ = ids("setAside");
    by = state.root()->string_at("actor");
    why = state.root()->string_at("why");
  }
  Result<Set> files = sets->load_files();
  const bool keep =
      !in_force.empty() && (!files || (files->ids != in_force && (sets->options_.approval_needed ||
                                                                  files->ids == sets->set_aside_)));
  if (!keep) {
    if (!files) {
      return std::move(files).error();
    }
    files->by = files->ids == in_force ? by : "";
    files->why = files->ids == in_force ? why : "";
    if (Result<void> put = sets->put_in_force(std::move(*files), SetIds()); !put) {
      return put.error();
    }
    sets->previous_.reset();
    return sets;
  }
  auto set = sets->load_kept(in_force);
  if (!set) {
    return std::move(set).error();
  }
  sets->in_force_ = std::move(*set);
  sets->in_force_.by = by;
  sets->in_force_.why = why;
  if (!files) {
    sets->problem_ = files.error().text();
  } else if (files->ids != sets->set_aside_) {
    sets->wait(std::move(*files));
  }
  sets->repin();
  return sets;
}

void MappingSets::repin() {
  pinned_ = std::make_shared<const Pinned>(in_force_, waiting_, shadow_);
}

void MappingSets::wait(std::optional<Set> set) {
  waiting_ = std::move(set);
  shadow_ = waiting_ ? std::make_shared<Shadow>() : nullptr;
}

Result<void> MappingSets::write_state(const SetIds& set_aside) const {
  const auto object = [](const SetIds& ids) {
    return R"({"mapping":")" + ids.mapping + R"(","profiles":")" + ids.profiles +
           R"(","settings":")" + ids.settings + "\"}";
  };
  std::string text = R"({"inForce":)" + object(in_force_.ids);
  if (!set_aside.empty()) {
    text += R"(,"setAside":)" + object(set_aside);
  }
  text += R"(,"actor":)";
  json::write_string(in_force_.by, text);
  text += R"(,"why":)";
  json::write_string(in_force_.why, text);
  return write_file(state_file(), text + "}\n");
}

Result<void> MappingSets::put_in_force(Set set, SetIds set_aside) {
  previous_ =
      in_force_.translator != nullptr ? std::optional<Set>(std::move(in_force_)) : previous_;
  in_force_ = std::move(set);
  set_aside_ = std::move(set_aside);
  wait(std::nullopt);
  problem_.clear();
  repin();
  return write_state(set_aside_);
}

std::optional<MappingSets::Event> MappingSets::look() {
  const std::string now = signature_of(options_.files);
  {
    const std::lock_guard lock(mutex_);
    if (now == seen_) {
      return std::nullopt;
    }
    seen_ = now;
  }
  // Compiling and the samples take a while, and work goes on with the set in force.
  Result<Set> set = load_files();
  std::string problem = set ? std::string() : set.error().text();
  if (set) {
    problem = failing_sample(*set->translator, options_.files.mappings);
  }
  const std::lock_guard lock(mutex_);
  if (!problem.empty()) {
    problem_ = problem;
    return Event{"mapping-refused", problem, {}};
  }
  problem_.clear();
  if (set->ids == in_force_.ids || set->ids == set_aside_) {
    wait(std::nullopt);
    repin();
    return Event{"mapping-unchanged", "set=" + in_force_.ids.name(), {}};
  }
  const std::string name = set->ids.name();
  if (options_.approval_needed) {
    wait(std::move(*set));
    repin();
    return Event{"mapping-waits", "set=" + name, {}};
  }
  if (Result<void> put = put_in_force(std::move(*set), SetIds()); !put) {
    problem_ = put.error().text();
  }
  return Event{"mapping-taken", "set=" + name, in_force_.ids};
}

Result<MappingSets::Event> MappingSets::approve(std::string_view name, std::string_view by,
                                                std::string_view why) {
  if (Result<void> whole = named_with_reason(by, why); !whole) {
    return whole.error();
  }
  const std::lock_guard lock(mutex_);
  if (!waiting_ || waiting_->ids.name() != name) {
    return Error(ErrorCode::kNotFound, "no set of this name waits; GET /mapping shows what does",
                 "set");
  }
  Set set = std::move(*waiting_);
  set.by = by;
  set.why = why;
  if (Result<void> put = put_in_force(std::move(set), SetIds()); !put) {
    return put.error();
  }
  return Event{"mapping-approved", "set=" + in_force_.ids.name(), in_force_.ids};
}

bool MappingSets::waits(std::string_view name) const {
  const std::lock_guard lock(mutex_);
  return waiting_ && waiting_->ids.name() == name;
}

Result<MappingSets::Event> MappingSets::roll_back(std::string_view by, std::string_view why) {
  if (Result<void> whole = named_with_reason(by, why); !whole) {
    return whole.error();
  }
  const std::lock_guard lock(mutex_);
  if (!previous_) {
    return Error(ErrorCode::kNotFound, "there is no earlier set to go back to", "mapping");
  }
  Set set = std::move(*previous_);
  previous_.reset();
  set.by = by;
  set.why = why;
  if (Result<void> put = put_in_force(std::move(set), in_force_.ids); !put) {
    return put.error();
  }
  return Event{"mapping-rolled-back", "set=" + in_force_.ids.name(), in_force_.ids};
}

std::string MappingSets::status() const {
  const std::lock_guard lock(mutex_);
  const auto object = [](const Set& set) {
    std::string text = R"({"set":")" + set.ids.name() + R"(","mapping":")" + set.ids.mapping +
                       R"(","profiles":")" + set.ids.profiles + R"(","settings":")" +
                       set.ids.settings + "\"";
    for (const auto& [member, value] : {std::pair("actor", &set.by), std::pair("why", &set.why)}) {
      if (!value->empty()) {
        text += std::string(",\"") + member + "\":";
        json::write_string(*value, text);
      }
    }
    return text;
  };
  std::string text = R"({"inForce":)" + object(in_force_) + "}";
  if (previous_) {
    text += R"(,"previous":)" + object(*previous_) + "}";
  }
  if (waiting_) {
    text += R"(,"waiting":)" + object(*waiting_) + ",";
    shadow_->write(text);
    text += "}";
  }
  if (!problem_.empty()) {
    text += R"(,"problem":)";
    json::write_string(problem_, text);
  }
  return text + "}";
}

MappingSets::InForce MappingSets::in_force() const {
  const std::lock_guard lock(mutex_);
  return {in_force_.ids, in_force_.translator};
}

std::shared_ptr<const intake::SessionCore> MappingSets::pinned() const {
  const std::lock_guard lock(mutex_);
  return pinned_;
}

therapy::Translator::Admission MappingSets::admit(std::string_view body) const {
  return pinned()->admit(body);
}

// Of dry runs: nothing is journalled of them, so the shadow does not count them.
therapy::Translation MappingSets::translate(std::span<const therapy::Revision> revisions) const {
  std::shared_ptr<const Pinned> now;
  {
    const std::lock_guard lock(mutex_);
    now = pinned_;
  }
  return now->in_force().translator->translate(revisions);
}

const therapy::Provenance& MappingSets::provenance() const {
  return translator().provenance();
}

const therapy::Translator& MappingSets::translator() const {
  const std::lock_guard lock(mutex_);
  return *in_force_.translator;
}

}  // namespace engine::cli

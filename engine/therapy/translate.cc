#include "engine/therapy/translate.h"

#include <algorithm>
#include <new>
#include <stdexcept>
#include <utility>

#include "engine/base/hash.h"
#include "engine/base/limits.h"
#include "engine/check/check.h"
#include "engine/json/write.h"
#include "engine/mapping/mapping.h"
#include "engine/shapes/catalog.h"
#include "engine/therapy/changes.h"
#include "engine/therapy/history.h"
#include "engine/therapy/json_schema.h"
#include "engine/therapy/moved.h"
#include "engine/therapy/rendering.h"
#include "engine/therapy/sent_state.h"
#include "engine/therapy/texts.h"

namespace engine::therapy {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using json::Node;

using base::limits::kBundleBytesMax;

constexpr const char* kTooCostly =
    "This session takes more memory than one may: record it as several sessions.";

fhir::Issue too_costly(std::string text = kTooCostly) {
  fhir::Issue issue;
  issue.severity = fhir::Severity::kError;
  issue.code = "too-costly";
  issue.text = std::move(text);
  return issue;
}

// The edge of the core: arenas and strings that reach their bounds throw, and nothing throws on.
template <class Work, class Otherwise>
auto bounded(const Work& work, const Otherwise& otherwise) -> decltype(work()) {
  try {
    return work();
  } catch (const std::bad_alloc&) {
    return otherwise();
  } catch (const std::length_error&) {
    return otherwise();
  }
}

constexpr std::string_view kMaps = "https://chartferry.example/fhir/StructureMap/";

// SHA-256 over the sorted (name, bytes), each framed by its length, so that no two sets agree by
// accident.
std::string set_hash(const std::vector<base::SourceFile>& files) {
  std::vector<const base::SourceFile*> sorted;
  for (const base::SourceFile& file : files) {
    sorted.push_back(&file);
  }
  std::sort(sorted.begin(), sorted.end(), [](const auto* a, const auto* b) {
    return a->name != b->name ? a->name < b->name : a->bytes < b->bytes;
  });
  std::string all;
  for (const base::SourceFile* file : sorted) {
    all += std::to_string(file->name.size()) + ":" + file->name +
           std::to_string(file->bytes.size()) + ":" + file->bytes;
  }
  return base::sha256_hex(all);
}

const base::SourceFile* file_named(const std::vector<base::SourceFile>& files,
                                   std::string_view end) {
  for (const base::SourceFile& file : files) {
    if (file.name.size() >= end.size() &&
        std::string_view(file.name).substr(file.name.size() - end.size()) == end) {
      return &file;
    }
  }
  return nullptr;
}

// The map's entry group; every group here takes a fixed number of inputs.
Result<std::uint32_t> group_of(const mapping::MapSet& maps, std::string_view map,
                               std::string_view group, std::size_t inputs) {
  const mapping::MapInfo* info = maps.find(std::string(kMaps) + std::string(map));
  if (info == nullptr) {
    return Error(ErrorCode::kNotFound,
                 "there is no map " + std::string(kMaps) + std::string(map) +
                     ": every kind of entry needs one",
                 "mappings");
  }
  const mapping::GroupInfo* found = mapping::MapSet::find_group(*info, group);
  if (found == nullptr || found->inputs.size() != inputs) {
    return Error(ErrorCode::kInvalid,
                 "the map needs a group '" + std::string(group) + "' with " +
                     std::to_string(inputs) + " inputs",
                 info->file);
  }
  return found->id;
}

Result<Groups> find_groups(const mapping::MapSet& maps, const SessionModel& model) {
  Groups groups;
  const struct {
    std::string_view map;
    std::string_view group;
    std::size_t inputs;
    std::uint32_t* to;
  } wanted[] = {
      {"frame", "sessionFrame", 2, &groups.session_frame},
      {"frame", "entryFrame", 3, &groups.entry_frame},
      {"frame", "session", 2, &groups.session},
      {"entry-absent", "", 3, &groups.absent},
      {"finding", "", 2, &groups.finding},
      {"provenance", "", 2, &groups.provenance},
      {"summary", "", 2, &groups.summary},
  };
  for (const auto& row : wanted) {
    Result<std::uint32_t> group = group_of(maps, row.map, row.group, row.inputs);
    if (!group) {
      return std::move(group).error();
    }
    *row.to = *group;
  }
  for (const Kind& kind : model.kinds()) {
    Result<std::uint32_t> group = group_of(maps, "entry-" + std::string(kind.name->text), "", 3);
    if (!group) {
      return std::move(group).error();
    }
    groups.kinds.push_back(*group);
  }
  return groups;
}

// The displays of the document's own codes, for texts that maps make.
void read_words(const std::vector<base::SourceFile>& files, const json::NameTable& names,
                std::unordered_map<std::string, std::string>& words) {
  const base::SourceFile* file = file_named(files, "session/CodeSystem-session.json");
  json::Document document(names);
  if (file == nullptr || !document.parse(file->bytes)) {
    return;
  }
  const Node* concepts = document.root()->find("concept");
  for (const Node* row = concepts != nullptr ? concepts->first : nullptr; row != nullptr;
       row = row->next) {
    words.emplace(row->string_at("code"), row->string_at("display"));
  }
}

}  // namespace

struct Translator::State {
  Sources sources;
  Provenance provenance;
  std::unique_ptr<shapes::Catalog> catalog;
  SessionModel model;
  PlausibilityTable table;
  std::unique_ptr<mapping::MapSet> maps;
  std::unique_ptr<check::Checker> checker;
  Workshop shop;
  Conditions conditions;
  std::string logical_model;
  std::string json_schema;
  std::string plausibility;

  Result<void> build(std::vector<Error>* problems);
};

Result<void> Translator::State::build(std::vector<Error>* problems) {
  Result<Settings> settings = parse_settings(sources.settings);
  if (!settings) {
    return std::move(settings).error();
  }
  shop.settings = std::move(*settings);
  Result<std::unique_ptr<shapes::Catalog>> loaded = shapes::Catalog::load(sources.profiles);
  if (!loaded) {
    return std::move(loaded).error();
  }
  catalog = std::move(*loaded);
  Result<SessionModel> read_model = SessionModel::load(*catalog);
  if (!read_model) {
    return std::move(read_model).error();
  }
  model = std::move(*read_model);
  const base::SourceFile* plausible = file_named(sources.profiles, "session/plausibility.json");
  const base::SourceFile* logical =
      file_named(sources.profiles, "session/StructureDefinition-TherapySession.json");
  if (plausible == nullptr || logical == nullptr) {
    return Error(ErrorCode::kNotFound,
                 "the profiles need session/plausibility.json and the session document's model",
                 "profiles");
  }
  plausibility = plausible->bytes;
  logical_model = logical->bytes;
  Result<PlausibilityTable> rows =
      PlausibilityTable::load(plausibility, catalog->types(), catalog->names(), model.session());
  if (!rows) {
    return std::move(rows).error();
  }
  table = std::move(*rows);
  Result<std::unique_ptr<mapping::MapSet>> compiled =
      mapping::MapSet::load(sources.mappings, *catalog, map_options(shop.settings), problems);
  if (!compiled) {
    return std::move(compiled).error();
  }
  maps = std::move(*compiled);
  for (const std::string_view name :
       {"finding", "change", "reference", "fullUrl", "request", "method", "url", "ifNoneExist"}) {
    catalog->names().intern(name);
  }
  catalog->freeze();
  Result<Conditions> asked = Conditions::compile(sources.conditions, model);
  if (!asked) {
    return std::move(asked).error();
  }
  conditions = std::move(*asked);
  checker = std::make_unique<check::Checker>(*catalog);
  Result<Groups> groups = find_groups(*maps, model);
  if (!groups) {
    return std::move(groups).error();
  }
  shop.groups = std::move(*groups);
  shop.model = &model;
  shop.table = &table;
  shop.maps = maps.get();
  read_words(sources.profiles, catalog->names(), shop.words);
  json_schema = make_json_schema(model, table, logical_model);
  provenance = {set_hash(sources.mappings), set_hash(sources.profiles),
                base::sha256_hex(sources.settings), std::string(kComputationVersion)};
  return {};
}

Result<std::unique_ptr<Translator>> Translator::load(Sources sources,
                                                     std::vector<Error>* problems) {
  auto state = std::make_unique<State>();
  state->sources = std::move(sources);
  Result<void> built = state->build(problems);
  if (!built) {
    return std::move(built).error();
  }
  return std::unique_ptr<Translator>(new Translator(std::move(state)));
}

Translator::Translator(std::unique_ptr<State> state) : state_(std::move(state)) {}
Translator::~Translator() = default;

Result<Moved> Translator::move(const Movable& session, const Move& wanted) const {
  return bounded([&] { return move_session(session, wanted, state_->shop); },
                 [] { return Result<Moved>(Error(ErrorCode::kLimit, kTooCostly)); });
}

const Provenance& Translator::provenance() const {
  return state_->provenance;
}
const std::string& Translator::logical_model() const {
  return state_->logical_model;
}
const std::string& Translator::json_schema() const {
  return state_->json_schema;
}
const std::string& Translator::plausibility_table() const {
  return state_->plausibility;
}

Translator::Admission Translator::admit(std::string_view body) const {
  return bounded([&] { return admit_whole(body); },
                 [] {
                   Admission admission;
                   admission.issues.push_back(too_costly());
                   return admission;
                 });
}

Translator::Admission Translator::admit_whole(std::string_view body) const {
  Admission admission;
  Rendering rendering(state_->catalog->names());
  parse_session(body, rendering);
  if (!rendering.refused) {
    // Before the judging, which adds to the document what it leaves to be understood.
    admission.content = json::canonical_hash(*rendering.document.root());
    judge_session(body, state_->shop, rendering);
  }
  admission.admitted = !rendering.refused;
  if (rendering.document.root() != nullptr && rendering.document.root()->is_object()) {
    Report report(body, rendering.issues);
    check_texts(*rendering.document.root(), report);
    admission.admitted = admission.admitted && !report.refused();
  }
  if (admission.admitted) {
    const json::Node& session = *rendering.document.root();
    admission.meets = state_->conditions.ask(session);
    if (const json::Node* withdrawals = session.find("withdrawal")) {
      for (const json::Node& one : *withdrawals) {
        admission.withdrawn.emplace_back(one.string_at("entry"));
      }
    }
  }
  admission.header = std::move(rendering.header);
  admission.issues = std::move(rendering.issues);
  return admission;
}

Translation Translator::translate(std::span<const Revision> revisions, const Wanted& wanted) const {
  return bounded([&] { return translate_whole(revisions, wanted); },
                 [] {
                   Translation held;
                   held.verdict = Verdict::kHeld;
                   held.hold_reason = "map-failed";
                   held.issues.push_back(too_costly());
                   return held;
                 });
}

namespace {

void write_findings(const Node& session, std::string& out) {
  const Node* findings = session.find("finding");
  if (findings == nullptr) {
    out = "[]";
  } else {
    json::write(*findings, out);
  }
}

void write_runs(const Rendering& made, std::string& out) {
  if (made.run == nullptr) {
    return;
  }
  const mapping::Run* const runs[] = {made.run.get(), made.provenance_run.get()};
  mapping::write_rule_runs(std::span(runs, made.provenance_run != nullptr ? 2 : 1),
                           *made.document.root(), made.bundle, base::limits::kHistoryBytesMax, out);
}

// Of the two runs, which are of one set of maps.
void add_fired(const Rendering& made, std::vector<bool>& out) {
  for (const mapping::Run* run : {made.run.get(), made.provenance_run.get()}) {
    const std::vector<bool>& fired = run != nullptr ? run->fired_rules() : out;
    out.resize(std::max(out.size(), fired.size()));
    for (std::size_t i = 0; i < fired.size(); ++i) {
      out[i] = out[i] || fired[i];
    }
  }
}

// False when it is too large: then the revision is held for good.
bool write_bundle(const Node& bundle, std::size_t document_bytes, Translation& out) {
  // A bundle is some twelve times its document; growing into it would copy it several times.
  constexpr std::size_t kBundlePerDocument = 16;
  out.bundle.reserve(std::min(kBundlePerDocument * document_bytes, kBundleBytesMax));
  if (json::write_within(bundle, kBundleBytesMax, out.bundle)) {
    return true;
  }
  out.bundle = std::string();
  out.verdict = Verdict::kHeld;
  out.hold_reason = "map-failed";  // the one that nobody can release
  out.issues.push_back(
      too_costly("The resources of this session are larger than is ever sent at "
                 "once (" +
                 std::to_string(kBundleBytesMax >> 20) +
                 " MiB): record it as several sessions, or mend the map."));
  return false;
}

// What was sent, in the place of what would be made now. See sent_state.h.
SentState take_sent(const std::string& text, Rendering& before) {
  before.sent = std::make_unique<json::Document>(before.document.names());
  const SentState state = sent_state(text, *before.sent);
  before.in_doubt = state.in_doubt;
  before.resources = resources_of(*state.resources);
  for (Resource& resource : before.resources) {
    resource.doubtful = resource.wrapper->find("doubtful") != nullptr;
  }
  return state;
}

// What the last revision is compared with. Of the revisions that were all given up and may have
// landed, only what was sent is known.
struct Earlier {
  std::unique_ptr<Rendering> rendering;  // none: nothing was sent
  std::uint32_t revises = 0;             // 0: this is the first that says anything
  bool given_up = false;
  bool other_patient = false;  // then
  bool unreadable = false;     // what was sent
};

Earlier earlier_of(std::span<const Revision> revisions, const Workshop& shop) {
  const std::string& sent = revisions.back().sent_before;
  Earlier out;
  if (revisions.size() == 1 && !sent.empty()) {
    out.rendering = std::make_unique<Rendering>(shop.model->catalog().names());
    const SentState state = take_sent(sent, *out.rendering);
    out.revises = state.revision;  // none when this revision itself, made otherwise, may be there
    out.given_up = state.revision != 0;
    out.other_patient = state.other_patient;
    out.unreadable = state.unreadable;
  } else if (revisions.size() > 1) {
    const auto before = revisions.first(revisions.size() - 1);
    if (!sent.empty()) {
      out.rendering = std::make_unique<Rendering>(shop.model->catalog().names());
      read_earlier(before.back().body, shop, *out.rendering);
      out.unreadable = take_sent(sent, *out.rendering).unreadable;
    } else {
      out.rendering = render(before, shop, {.lineage = false});
    }
    out.revises = out.rendering->header.revision;
    if (sent.empty() && (out.rendering->refused || out.rendering->bundle == nullptr)) {
      out.rendering.reset();
    }
  }
  return out;
}

void write_lineage(const Rendering& made, Report& report, std::string& out) {
  const mapping::Run* const runs[] = {made.run.get(), made.provenance_run.get()};
  mapping::write_lineage(std::span(runs, made.provenance_run != nullptr ? 2 : 1), *made.bundle,
                         out);
  if (out.size() > base::limits::kLineageBytesMax) {
    out = std::string();
    report.information("informational", *made.document.root(),
                       "Where the values come from is not kept: it would be too long.");
  }
}

}  // namespace

Translation Translator::translate_whole(std::span<const Revision> revisions,
                                        const Wanted& wanted) const {
  const Workshop& shop = state_->shop;
  Translation out;
  std::unique_ptr<Rendering> now = render(revisions, shop, wanted);
  out.issues = std::move(now->issues);
  if (now->refused) {
    return out;
  }
  write_findings(*now->document.root(), out.findings);
  out.hold_reason = now->hold_reason;
  out.verdict = out.hold_reason.empty() ? Verdict::kReady : Verdict::kHeld;
  if (now->bundle == nullptr || out.hold_reason == "map-failed") {
    if (wanted.rule_runs) {
      write_runs(*now, out.rule_runs);
    }
    add_fired(*now, out.fired);
    return out;
  }
  const Earlier earlier = earlier_of(revisions, shop);
  Report report(revisions.back().body, out.issues);
  if (earlier.unreadable) {
    report.hold("bundle-unreadable", *now->document.root(),
                "What was sent of this session before cannot be read back, so nobody can tell what "
                "has to be corrected or taken back.");
    out.hold_reason = report.hold_reason();  // before any that a person may release
  }
  if (earlier.given_up) {
    ask_after_given_up(*now->document.root(), earlier.other_patient, report);
  }
  const ChangeCounts counts = apply_changes(*now, earlier.rendering.get(), report);
  if (counts.any()) {
    Result<void> added =
        add_provenance(*now, shop, counts, revisions.back().accepted_at, earlier.revises);
    if (!added) {
      report.hold("map-failed", *now->document.root(), added.error().detail, added.error().where);
    }
  } else {
    report.information("informational", *now->document.root(),
                       "Nothing differs from what was sent before: there is nothing to send.");
  }
  if (!write_bundle(*now->bundle, revisions.back().body.size(), out)) {
    return out;
  }
  if (counts.any()) {
    check::Scratch scratch;
    check::Options options;
    options.now = revisions.back().accepted_at;
    options.notes = false;
    fhir::Issues faults = state_->checker->check(*now->bundle, options, scratch);
    if (fhir::has_errors(faults)) {
      report.hold("check-failed", *now->document.root(),
                  "What the maps made does not conform; the issues below name the places in the "
                  "Bundle. Correct the map or the profile, then remap.");
    }
    std::move(faults.begin(), faults.end(), std::back_inserter(out.issues));
  }
  if (wanted.lineage) {
    write_lineage(*now, report, out.lineage);
  }
  if (wanted.rule_runs) {
    write_runs(*now, out.rule_runs);
  }
  add_fired(*now, out.fired);
  if (out.hold_reason.empty()) {
    out.hold_reason = report.hold_reason();
  }
  out.verdict = out.hold_reason.empty() ? Verdict::kReady : Verdict::kHeld;
  return out;
}

}  // namespace engine::therapy

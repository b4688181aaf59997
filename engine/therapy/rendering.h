#pragma once
// From the revisions of a session to resources: the last revision is read, merged with what earlier
// ones hold, framed, and mapped. A Rendering keeps everything it points at. Statuses are those of a
// first send; see changes.h for what a later revision does to what was sent before.

#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "engine/base/hash.h"
#include "engine/json/document.h"
#include "engine/mapping/mapping.h"
#include "engine/therapy/plausibility.h"
#include "engine/therapy/predictions.h"
#include "engine/therapy/report.h"
#include "engine/therapy/session_model.h"
#include "engine/therapy/settings.h"
#include "engine/therapy/translate.h"

namespace engine::therapy {

// The groups of the maps that a translation runs, found once.
struct Groups {
  std::uint32_t session_frame = 0;
  std::uint32_t entry_frame = 0;
  std::uint32_t session = 0;
  std::uint32_t absent = 0;
  std::uint32_t finding = 0;
  std::uint32_t provenance = 0;
  std::uint32_t summary = 0;
  std::vector<std::uint32_t> kinds;  // by index in SessionModel::kinds()
};

// What all renderings share; immutable.
struct Workshop {
  const SessionModel* model = nullptr;
  const PlausibilityTable* table = nullptr;
  const mapping::MapSet* maps = nullptr;
  Groups groups;
  Settings settings;
  std::unordered_map<std::string, std::string> words;  // displays of the document's own codes
};

// What the functions that maps may call know.
struct MapContext {
  const Workshop* shop = nullptr;
  base::Uuid session{};
};

// The functions and constants that maps may use: entryId(entry, role), conditional(type, system,
// value), words(code), %base.
mapping::LoadOptions map_options(const Settings& settings);

struct Resource {
  json::Node* wrapper = nullptr;  // the Bundle's entry
  json::Node* node = nullptr;
  std::string_view type;
  std::string id;         // the name-based id: identifier.value, or Resource.id
  bool doubtful = false;  // of what was sent before: nobody knows whether it arrived
};

struct Rendering {
  explicit Rendering(const json::NameTable& names) : document(names) {}
  Rendering(const Rendering&) = delete;
  Rendering& operator=(const Rendering&) = delete;

  json::Document document;  // root: the session document, whole
  fhir::Issues issues;
  bool refused = false;
  std::string hold_reason;
  SessionHeader header;
  MapContext context;
  std::optional<Predictions> predictions;  // of a document that was not refused, and takes no
                                           // session back
  json::Node* bundle = nullptr;
  std::vector<Resource> resources;
  std::unique_ptr<json::Document> sent;  // holds the resources, when they were not made here
  bool in_doubt = false;                 // then: nobody knows whether all of what was sent arrived
  std::vector<const json::Node*> verifiers;  // whoever attests what nobody had attested so before
  // The session's Procedure as a search, when it was attested and the revision does not carry it.
  std::string attested;
  std::unique_ptr<mapping::Run> run;
  std::unique_ptr<mapping::Run> provenance_run;  // of the last thing made; often none
};

// Only parses the document; fills document, or issues and refused.
void parse_session(std::string_view body, Rendering& to);
// Says what is wrong with a parsed document; fills issues, refused, hold_reason and header, and
// completes the document's quantities.
void judge_session(std::string_view body, const Workshop& shop, Rendering& to);
// Of a revision that was taken in before: what it says counts, whatever the profiles in force think
// of it. Refused is only what cannot be read.
void read_earlier(std::string_view body, const Workshop& shop, Rendering& to);
// The first two.
void read_session(std::string_view body, const Workshop& shop, Rendering& to);
// The same for the last of the revisions, then merges, frames and maps it; the run records
// what is wanted.
std::unique_ptr<Rendering> render(std::span<const Revision> revisions, const Workshop& shop,
                                  const Wanted& wanted);

// Lists what a Bundle's entries hold.
std::vector<Resource> resources_of(json::Node& bundle);

}  // namespace engine::therapy

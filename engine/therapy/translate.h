#pragma once
// The one call of the core: translate(the revisions of a session so far) -> bundle + issues +
// lineage. A pure function: no clock, no randomness, no files. The same inputs, mapping set,
// profile set, settings and computation version give the same bytes, which is what replay,
// correction and exactly-once delivery rest on. A Translator is immutable after load and is called
// from many threads.

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/fhir/issue.h"
#include "engine/therapy/conditions.h"

namespace engine::therapy {

// Raised whenever a change of the computation (not of maps or profiles) changes any output byte.
inline constexpr std::string_view kComputationVersion = "5";

// What the translator is made of. Names are relative paths ("session.map", "r4/types.facts").
struct Sources {
  std::vector<base::SourceFile> mappings;
  std::vector<base::SourceFile> profiles;
  // JSON settings of the site (canonical base, thresholds, switches); empty text means the
  // defaults.
  std::string settings;
  // FHIRPath over session documents; what is made of them does not depend on it, so it is no part
  // of the provenance. See conditions.h.
  std::vector<Condition> conditions;
};

// The hashes and versions a translation was made with; journalled with every message.
struct Provenance {
  std::string mapping_set;   // SHA-256 over the sorted (name, bytes) of the mapping files
  std::string profile_set;   // likewise
  std::string settings_set;  // likewise
  std::string computation_version;
};

// Who and what a session document is about, read without mapping it.
struct SessionHeader {
  std::string system;  // session identifier
  std::string value;
  std::string session_id;  // name-based UUID of system and value; the id used in URLs
  std::uint32_t revision = 0;
  bool closed = false;
  bool in_error = false;      // all of it should never have been there
  std::string patient_key;    // "system|value"
  std::string therapist_key;  // "system|value"
};

struct Revision {
  std::string body;         // the bytes as sent
  std::string accepted_at;  // FHIR instant, stamped at intake
  // Of the last one, where rendering those before it again does not tell what was sent of them: the
  // bundles that were, oldest first,
  //   [{"revision": 1?, "otherPatient": true?, "doubtful": true?, "bundle": {...}}]
  // `revision`: of which earlier one, which need not be among the documents: one that was given up
  // is not. `otherPatient`: than the last one's. `doubtful` ones may have landed and may not have.
  // Empty: they are rendered again.
  std::string sent_before = {};
  // Revisions between the one before it and this one that never went to the record server: of these
  // what they take back counts, unless one of them says it again. What they say anew a later one
  // has to carry, or is held. An empty one was destroyed since.
  std::vector<std::string> unsent_before = {};
};

enum class Verdict : std::uint8_t {
  kRefused,  // not readable as a session document, or an impossible value: answered 4xx
  kHeld,     // kept, but a person must look before anything is sent
  kReady,    // the bundle may be sent
};

// What a caller wants beside the bundle.
struct Wanted {
  bool lineage = true;  // without it Translation::lineage stays empty, and nothing is recorded
  bool rule_runs = false;
  bool coverage = false;  // which rules of the maps fired
};

struct Translation {
  Verdict verdict = Verdict::kRefused;
  fhir::Issues issues;
  std::string hold_reason;  // stable code when held: "unconfirmed-value", "unknown-code",
                            // "check-failed", "map-failed", ...
  std::string findings;     // JSON array
  std::string bundle;     // the transaction Bundle, compact JSON; also filled when held, where one
                          // could be made
  std::string lineage;    // as mapping::write_lineage() says
  std::string rule_runs;  // as mapping::write_rule_runs() says; also when a map failed
  std::vector<bool> fired;  // by mapping::RuleLabel::number, when coverage was wanted
};

struct Move;
struct Movable;
struct Moved;

class Translator {
 public:
  // Errors: kInvalid with the file and line of a map or profile that does not compile; `problems`,
  // when given, receives all that is wrong with the maps and tables, not just the first.
  static base::Result<std::unique_ptr<Translator>> load(
      Sources sources, std::vector<base::Error>* problems = nullptr);
  ~Translator();

  const Provenance& provenance() const;
  // Everything intake needs to answer: the header when readable, otherwise the issues that refuse
  // the body.
  struct Admission {
    bool admitted = false;
    SessionHeader header;  // as far as it could be read
    std::string content;   // json::canonical_hash() of what is readable
    fhir::Issues issues;   // errors when refused; warnings otherwise
    // Of an admitted document: one for each of Sources::conditions.
    std::vector<Meets> meets;
    // Likewise: the ids of the entries that it takes back, in its order.
    std::vector<std::string> withdrawn;
  };
  Admission admit(std::string_view body) const;
  // Translates the last of the revisions, given those before it (oldest first, at least one). A
  // session that takes more memory than one may, or makes more than limits::kBundleBytesMax, is
  // held.
  Translation translate(std::span<const Revision> revisions, const Wanted& wanted = {}) const;

  // See moved.h.
  base::Result<Moved> move(const Movable& session, const Move& wanted) const;

  // Served by the engine: the logical model as StructureDefinition JSON, the JSON Schema generated
  // from it, and the plausibility table.
  const std::string& logical_model() const;
  const std::string& json_schema() const;
  const std::string& plausibility_table() const;

 private:
  struct State;
  Admission admit_whole(std::string_view body) const;
  Translation translate_whole(std::span<const Revision> revisions, const Wanted& wanted) const;
  explicit Translator(std::unique_ptr<State> state);
  std::unique_ptr<State> state_;
};

}  // namespace engine::therapy

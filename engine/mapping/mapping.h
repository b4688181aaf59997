#pragma once
// The FHIR Mapping Language, compiled and run: source trees in, target trees out, with the lineage
// of every element made. A MapSet is all .map files and ConceptMaps in force; it is compiled and
// type-checked once against the published shapes, is immutable afterwards and is read from many
// threads. A Run is one thread's use of it on one output document. Deterministic: no clock, no
// randomness; the ids of the uuid() transform are handed in by the caller. Sources: FHIR R4 mapping
// language and StructureMap; the later dialects' syntax is read too.

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/hash.h"
#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/json/document.h"
#include "engine/shapes/types.h"

namespace engine::shapes {
class Catalog;
}

namespace engine::mapping {

// A function that FHIRPath inside maps may call by name, without a focus: (entryId(src.id,
// 'saturation')).
struct HostFunction {
  // The text of each argument's single item; nullopt for an empty argument. Arguments that are
  // objects or several items are refused before the call. The result becomes a string; nullopt is
  // the empty collection.
  using Call = base::Result<std::optional<std::string>> (*)(
      const void* context, std::span<const std::optional<std::string>> arguments);

  std::string name;
  std::size_t arguments_min = 0;
  std::size_t arguments_max = 0;
  Call call = nullptr;  // pure: the same context and arguments give the same answer
};

struct LoadOptions {
  std::vector<HostFunction> functions;
  // Strings that FHIRPath inside maps may read as %name, such as a site's canonical base.
  std::vector<std::pair<std::string, std::string>> constants;
};

struct InputInfo {
  std::string name;
  std::string type;  // as written; empty when the map leaves it open
  shapes::TypeId type_id = shapes::kNoType;
  bool is_source = true;
};

struct GroupInfo {
  std::string name;
  std::vector<InputInfo> inputs;
  std::size_t line = 0;  // of the group in its file, from 1
  std::uint32_t id = 0;  // for Run::call
};

struct MapInfo {
  std::string url;
  std::string name;
  std::string title;
  std::string file;
  std::vector<GroupInfo>
      groups;  // in text order; the first is the entry point unless a name is asked for
};

class Program;  // the compiled form

class MapSet {
 public:
  // Reads every file: *.map is mapping language; *.json is a ConceptMap or a StructureMap (FHIR R4
  // JSON); *.csv is a ConceptMap with the columns source code, target system, code, display,
  // equivalence (docs/mapping-guide.md). Nothing is half-applied: one bad file fails the whole set.
  // Errors: kInvalid, and kNotFound for an import, table or structure that is not there, with where
  // = "file:line:column". `problems`, when given, receives all that was found, not just the first.
  // The catalog must outlive the set.
  static base::Result<std::unique_ptr<MapSet>> load(std::span<const base::SourceFile> files,
                                                    const shapes::Catalog& catalog,
                                                    const LoadOptions& options = {},
                                                    std::vector<base::Error>* problems = nullptr);
  ~MapSet();
  MapSet(const MapSet&) = delete;
  MapSet& operator=(const MapSet&) = delete;

  std::span<const MapInfo> maps() const;
  // By canonical url; nullptr when there is none.
  const MapInfo* find(std::string_view url) const;
  // The group of that name, or the map's first group for an empty name; nullptr when there is none.
  static const GroupInfo* find_group(const MapInfo& map, std::string_view name = {});
  const Program& program() const { return *program_; }

 private:
  explicit MapSet(std::unique_ptr<Program> program);
  std::unique_ptr<Program> program_;
};

// What a group's input is bound to, by position. Source nodes must come from documents parsed with
// the catalog's name table; target nodes are objects of the run's output document.
struct Binding {
  const json::Node* source = nullptr;
  json::Node* target = nullptr;
  // kNoType: taken from resourceType when there is one, otherwise the type that the group declares.
  shapes::TypeId type = shapes::kNoType;

  static Binding of_source(const json::Node& node, shapes::TypeId type = shapes::kNoType) {
    return {&node, nullptr, type};
  }
  static Binding of_target(json::Node& node, shapes::TypeId type = shapes::kNoType) {
    return {nullptr, &node, type};
  }
};

struct RunOptions {
  // The ids of the uuid() transform, and of reference() and pointer() on a resource without id, in
  // order of use. Empty: UUID version 5 of `uuid_seed` and a counter.
  std::function<base::Uuid()> next_uuid;
  std::string uuid_seed;
  const void* host_context = nullptr;  // handed to every HostFunction
  // A code without translation: true stops the run with kNotFound, false leaves the element out;
  // both list it in untranslated().
  bool stop_at_untranslated = true;
  bool with_lineage = true;
  // Notes every rule that is reached, for whoever writes maps; needs the lineage.
  bool with_rule_runs = false;
};

// A code that a ConceptMap does not translate.
struct Untranslated {
  std::string system;  // empty when the source is a bare code
  std::string code;
  std::string table;  // the ConceptMap's url
  std::string place;  // "file:line:column" of the rule
};

// What one `log` clause said.
struct TraceLine {
  std::string place;
  std::string text;
};

// A rule of the text, for whoever tells what it did. Lives as long as the MapSet.
struct RuleLabel {
  std::string place;  // "file:line"
  std::string name;
  std::string row;           // both as JSON: ["file:line","name"]
  std::uint32_t number = 0;  // among the rules of the set
};

// Which rule made which element of the output, from what.
struct LineageEntry {
  const json::Node* output = nullptr;
  const RuleLabel* rule = nullptr;
  std::uint32_t first_input = 0;
  std::uint32_t input_count = 0;
};

// What a rule read: a place, or a value that an expression made.
struct RuleRead {
  const json::Node* node = nullptr;
  std::string text;  // without a node
};

// One time that a rule was reached.
struct RuleRun {
  const RuleLabel* rule = nullptr;
  std::uint32_t depth = 0;       // of rules and groups around it, from 1
  bool fired = false;            // false: its sources found nothing, or it broke before
  std::uint32_t first_read = 0;  // of Run::rule_reads()
  std::uint32_t read_count = 0;
  std::uint32_t first_made = 0;  // of Run::lineage(); without what its own rules and groups made
  std::uint32_t made_count = 0;
  std::vector<std::string> broke;  // errors, and codes without translation
  bool under_way = false;
};

class Run {
 public:
  // The set and the output document must outlive the run.
  Run(const MapSet& maps, json::Document& output, RunOptions options = {});
  ~Run();
  Run(const Run&) = delete;
  Run& operator=(const Run&) = delete;

  // Runs one group (GroupInfo::id). Several calls add to one output and one lineage. Errors:
  // kInvalid (a check that failed, a cardinality, a value of the wrong type ...), kNotFound
  // (untranslated code), kLimit (depth, steps, output size); where = "file:line:column". After an
  // error the output holds part of the work and is to be thrown away.
  base::Result<void> call(std::uint32_t group, std::span<const Binding> bindings);

  // Removes elements that were created and never filled, and puts list modes into effect. Once,
  // after the last call.
  void finish();

  std::span<const LineageEntry> lineage() const;
  // What the entries' first_input and input_count speak of.
  std::span<const json::Node* const> inputs() const;
  std::span<const Untranslated> untranslated() const;
  std::span<const TraceLine> trace() const;

  // In the order of running; the latest are left out when there are too many.
  std::span<const RuleRun> rule_runs() const;
  std::span<const RuleRead> rule_reads() const;
  std::size_t rule_runs_left_out() const;

  // Notes from now on which rules fire; fired_rules() is by the number of the rule in
  // Program::rules.
  void watch_coverage();
  const std::vector<bool>& fired_rules() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

// The lineage as JSON tables, which the journal keeps beside what was made:
//   {"rules":[["vitals.map:12","status"], ...],       place and name
//    "inputs":["/entry/3", ...],                      pointers into the source
//    "elements":[["/entry/0/resource/status",0,0,...], ...]}
// An element is its pointer, the number of its rule, the numbers of its inputs; they come in the
// order of the output document. `root` is the node that output pointers start from. Deep copies are
// one element; everything under a listed element without a row of its own came with it.
void write_lineage(const Run& run, const json::Node& root, std::string& out);
// Of several runs of one MapSet that made one output.
void write_lineage(std::span<const Run* const> runs, const json::Node& root, std::string& out);
// The same told in full, a JSON array of
//   {"output":"/entry/0/resource/status","rule":"vitals.map:12","name":"status","inputs":["/entry/3"]}
// Errors: kInvalid when it is not what write_lineage() wrote.
base::Result<std::string> tell_lineage(std::string_view lineage);

// The rules as they ran, for people:
//   {"rules":[["vitals.map:12","status"], ...],
//    "runs":[{"rule":0,"depth":2,"fired":true,"read":[{"at":"/entry/3/note","value":"..."}],
//             "made":[{"at":"/entry/0/resource/status","value":"final"}],"broke":["..."]}, ...],
//    "log":[{"place":"vitals.map:12:5","text":"..."}], "left":0}
// What was read stands in the source document and what was made below `root`; a place elsewhere
// says "in": "source", "output", or "nowhere" for what was made and is not there any more. Values
// are shortened; objects have none. `bytes_max`: runs that would make it larger are counted in
// "left".
void write_rule_runs(std::span<const Run* const> runs, const json::Node& source,
                     const json::Node* root, std::size_t bytes_max, std::string& out);

}  // namespace engine::mapping

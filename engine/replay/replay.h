#pragma once
// History run again. verify(): every bundle and outcome that the journal holds is made again from
// the documents it holds, and compared byte for byte. what_if(): the same documents through another
// core, and what would differ, grouped. Nothing is sent, nothing is written.

#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/intake/session_core.h"
#include "engine/journal/store.h"

namespace engine::replay {

struct Range {
  std::string since;  // FHIR instants over the time of intake of the translation; empty: no bound
  std::string until;
  // Only what was journalled behind it: of verify(), what_if() and resend().
  journal::Position after = 0;
};

// One translation that did not come out as it is journalled.
struct Fault {
  journal::Position position = 0;
  std::string session;
  std::uint32_t revision = 0;
  std::string target;
  std::string what;  // which part differs, or which input is not the same
};

struct VerifyReport {
  std::uint64_t translations = 0;
  std::uint64_t same = 0;
  // Not among them, whatever they were made with: their documents were destroyed on purpose.
  std::uint64_t destroyed = 0;
  // Of `same`: made by a program whose computation is of another version.
  std::uint64_t same_by_other = 0;
  // Made with another mapping, profile or settings set, or coming out otherwise and made by another
  // computation: this core cannot tell about them. By what differs ("mapping, profiles").
  std::map<std::string, std::uint64_t> other_sets;
  // The same by what they were made with, without the revisions: whoever has those sets can verify
  // them with a core of theirs.
  struct Other {
    std::string what;  // key of other_sets
    std::uint64_t count = 0;
    std::uint64_t destroyed = 0;  // of `destroyed`
  };
  std::map<std::string, Other> others;
  std::vector<Fault> faults;
  std::optional<journal::Position> broken_off;  // by on_progress: verified up to this record
  bool verified() const { return faults.empty() && other_sets.empty() && !broken_off; }
};

struct Progress {
  std::uint64_t done = 0;
  journal::Position position = 0;
};
// Whether to go on.
using OnProgress = std::function<bool(const Progress&)>;

// `only`: of translations that were made with this (key of VerifyReport::others); all else is
// passed over. A part that cannot be read is a fault of its translation. Errors: kIo, kCorrupt when
// the journal cannot be read.
base::Result<VerifyReport> verify(const journal::Store& store, const intake::SessionCore& core,
                                  const Range& range, std::size_t threads,
                                  const OnProgress& on_progress, const std::string& only = {});

// Whose translations are compared with those of one core. A target may have sets of its own; what
// was made with those says nothing about a change of others.
struct Whose {
  std::string target;           // of this one only; empty: of all but
  std::set<std::string> apart;  // these
  bool holds(const std::string& of) const {
    return target.empty() ? !apart.contains(of) : of == target;
  }
};

// What came of a translation.
struct Made {
  bool ready = false;
  std::string reason;  // why it is held
  std::string bundle;  // empty when there is none
};
// One difference between two; `kind` names members and no values ("Observation.status changed").
struct Change {
  std::string kind;
  std::string before;  // shortened
  std::string after;
  // JSON Pointer into the bundle after, or into the one before for what is not there any more.
  std::string element = {};
};
std::vector<Change> differences(const Made& before, const Made& after);

struct Difference {
  std::uint64_t count = 0;
  Fault example;
  std::string before;  // of the example, shortened
  std::string after;
};

struct WhatIfReport {
  std::uint64_t translations = 0;
  std::uint64_t same = 0;
  std::uint64_t destroyed = 0;  // not among them: their documents are gone
  // By target: likewise, as they are others' (Whose), and those that are among them.
  std::map<std::string, std::uint64_t> left_out;
  std::map<std::string, std::uint64_t> compared;
  // By kind: "Observation.valueQuantity.unit changed", "verdict: ready, was held (unknown-code)".
  std::map<std::string, Difference> differences;
};

// The latest of the journal's translations through two cores, beside an engine that works: bounded.
struct Look {
  Range range;
  Whose whose;
  journal::Position before = 0;  // only what was journalled before it; 0: the end
  std::size_t limit = 0;         // translations looked at
  std::size_t examples_max = 1;  // of each kind
  std::size_t kinds_max = 0;     // further kinds are counted together
  std::function<bool()> enough;  // asked before each; true ends the look
};
struct LookReport {
  std::size_t looked = 0;
  std::size_t left_out = 0;  // passed over on the way, as they are others' (Whose)
  std::size_t same = 0;
  struct Example {
    Fault at;
    Change change;
  };
  struct Kind {
    std::uint64_t count = 0;         // of differences
    std::uint64_t translations = 0;  // that have one
    std::vector<Example> examples;
  };
  std::map<std::string, Kind> kinds;
  std::uint64_t other_kinds = 0;  // differences of kinds past kinds_max
  journal::Position next = 0;     // to go on with as `before`; 0: the end was reached
};
// What `core` makes of the recorded documents against what `in_force` makes of them. Errors: of the
// store.
base::Result<LookReport> look_back(const journal::Store& store, const intake::SessionCore& in_force,
                                   const intake::SessionCore& core, const Look& look);

base::Result<WhatIfReport> what_if(const journal::Store& store, const intake::SessionCore& core,
                                   const Range& range, std::size_t threads,
                                   const OnProgress& on_progress, const Whose& whose = {});

}  // namespace engine::replay

#pragma once
// Proves a journal: every head hashes to its leaf, every record names the one before it, positions
// have no gaps, every part's bytes hash to what its head says, the columns that serve search agree
// with the heads, times do not run backwards, and the tables of states say what the log says.
// Sealed parts open; those that do not, and parts that are missing, were destroyed by a record that
// says so.

#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/merkle.h"
#include "engine/journal/store.h"
#include "engine/journal/tree_head.h"

namespace engine::journal {

struct Verification {
  Position records = 0;
  std::uint64_t parts = 0;
  std::uint64_t stored_bytes = 0;
  std::uint64_t destroyed = 0;  // parts that a record of the journal had destroyed
  std::uint64_t unopened = 0;   // sealed parts whose master key was not given: hashes only
  base::Digest root{};          // of the tree over all records
  std::size_t heads_agree = 0;  // signed heads that the tree passed through
  Position covered = 0;         // so many records are under one of these
  std::string unproved;         // why the rest should be, too; "": what was not signed yet
  std::vector<std::string> faults;
  std::vector<std::string> remarks;  // worth a look, but no fault: a clock that was set back
  bool sound() const { return faults.empty(); }
  bool proved() const { return records == 0 || (heads_agree > 0 && unproved.empty()); }
};

// Reads everything once and goes on after a fault. An engine may write meanwhile: what it adds
// after the records were read is left to the next verification, and not counted. The tree must pass
// through each of the heads; their signatures are check_tree_heads()'s matter. Errors: kIo when it
// cannot be read at all.
base::Result<Verification> verify(const Store& store, const std::vector<TreeHead>& heads = {});

}  // namespace engine::journal

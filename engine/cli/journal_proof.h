#pragma once
// What proves a journal: verify, prove, export. The journal command parses and journals the looks.

#include <cstdint>
#include <string>
#include <vector>

#include "engine/journal/store.h"

namespace engine::cli {

struct ProofFiles {
  std::string journal;
  std::vector<std::string> heads;  // files of signed tree heads; none: JOURNAL.heads
  std::string public_key;          // PEM; "": JOURNAL.head-key.pub
  std::string all_heads() const;   // the first of them
  std::string key_file() const;
};

// Each prints what it found and gives the command's exit status.
int verify_journal(const journal::Store& store, const ProofFiles& files);
// JSON: that the record lies in the tree of the latest signed head.
int prove_record(const journal::Store& store, const ProofFiles& files, std::uint64_t position);
// JSON: that the tree signed at `to` records (0: the latest) begins with the one signed at `from`.
int prove_growth(const journal::Store& store, const ProofFiles& files, std::uint64_t from,
                 std::uint64_t to);
// Writes the records that `query` finds, the leaves of all, and the signed heads into a new folder
// (docs/formats/journal-export.md).
int export_journal(const journal::Store& store, const ProofFiles& files, journal::Query query,
                   const std::string& folder);

}  // namespace engine::cli

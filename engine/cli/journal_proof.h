#pragma once
// What proves a journal: verify, prove, export. The journal command parses and journals the looks.

#include <cstdint>
#include <string>
#include <vector>

#include "engine/base/result.h"
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
// What verify_journal() finds, as JSON: {"sound","proved","covered","records","parts","bytes",
// "destroyed","unopened","heads","headsAgree","root","faults":[...],"remarks":[...]}. Errors: kIo,
// kCorrupt when it cannot be read at all.
base::Result<std::string> soundness_report(const journal::Store& store, const ProofFiles& files);
// That the record lies in the tree of the latest signed head, as JSON: {"position","record","leaf",
// "path","treeHead"}. Errors: kNotFound, kConflict (no head is signed yet, or none so late),
// kCorrupt (it does not), kIo.
base::Result<std::string> record_proof(const journal::Store& store, const ProofFiles& files,
                                       std::uint64_t position);
// Prints it.
int prove_record(const journal::Store& store, const ProofFiles& files, std::uint64_t position);
// JSON: that the tree signed at `to` records (0: the latest) begins with the one signed at `from`.
int prove_growth(const journal::Store& store, const ProofFiles& files, std::uint64_t from,
                 std::uint64_t to);
// Writes the records that `query` finds up to `through`, the leaves of all, and the signed heads
// into a new folder (docs/formats/journal-export.md). Signs a head of its own for it where the
// secret is at hand; otherwise it ends where the last head does.
int export_journal(const journal::Store& store, const ProofFiles& files, journal::Query query,
                   journal::Position through, const std::string& folder);

}  // namespace engine::cli

#pragma once
// The Merkle tree over the journal's records: RFC 6962 section 2.1 (RFC 9162 section 2.1). Pure.

#include <cstdint>
#include <functional>
#include <string_view>
#include <vector>

#include "engine/base/hash.h"

namespace engine::journal {

base::Digest node_hash(const base::Digest& left, const base::Digest& right);

// What is needed to append and to name the root: the roots of the complete subtrees that a tree of
// `size` leaves falls into, largest first.
class Frontier {
 public:
  Frontier() = default;
  Frontier(std::uint64_t size, std::vector<base::Digest> roots);
  void append(const base::Digest& leaf);
  base::Digest root() const;
  std::uint64_t size() const { return size_; }
  const std::vector<base::Digest>& roots() const { return roots_; }

 private:
  std::uint64_t size_ = 0;
  std::vector<base::Digest> roots_;
};

// MTH of leaf hashes.
base::Digest tree_root(const std::vector<base::Digest>& leaves);
// PATH(index, leaves): the siblings from the leaf up. index < leaves.size().
std::vector<base::Digest> inclusion_proof(std::uint64_t index,
                                          const std::vector<base::Digest>& leaves);
// PROOF(old_size, leaves). 0 < old_size <= leaves.size().
std::vector<base::Digest> consistency_proof(std::uint64_t old_size,
                                            const std::vector<base::Digest>& leaves);

// RFC 9162 sections 2.1.3.2 and 2.1.4.2.
bool verify_inclusion(const base::Digest& leaf, std::uint64_t index, std::uint64_t size,
                      const std::vector<base::Digest>& proof, const base::Digest& root);
bool verify_consistency(std::uint64_t old_size, const base::Digest& old_root, std::uint64_t size,
                        const base::Digest& root, const std::vector<base::Digest>& proof);

}  // namespace engine::journal

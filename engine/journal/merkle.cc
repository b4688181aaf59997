#include "engine/journal/merkle.h"

#include <bit>
#include <span>
#include <string>
#include <utility>

#include "engine/base/check.h"

namespace engine::journal {
namespace {

using Leaves = std::span<const base::Digest>;

// The largest power of two below n; n > 1.
std::size_t split_of(std::size_t n) {
  return std::bit_floor(n - 1);
}

base::Digest root_of(Leaves leaves) {
  if (leaves.empty()) {
    return base::sha256("");
  }
  if (leaves.size() == 1) {
    return leaves[0];
  }
  const std::size_t k = split_of(leaves.size());
  return node_hash(root_of(leaves.first(k)), root_of(leaves.subspan(k)));
}

void path(std::size_t index, Leaves leaves, std::vector<base::Digest>& out) {
  if (leaves.size() <= 1) {
    return;
  }
  const std::size_t k = split_of(leaves.size());
  if (index < k) {
    path(index, leaves.first(k), out);
    out.push_back(root_of(leaves.subspan(k)));
  } else {
    path(index - k, leaves.subspan(k), out);
    out.push_back(root_of(leaves.first(k)));
  }
}

void subproof(std::size_t m, Leaves leaves, bool whole, std::vector<base::Digest>& out) {
  if (m == leaves.size()) {
    if (!whole) {
      out.push_back(root_of(leaves));
    }
    return;
  }
  const std::size_t k = split_of(leaves.size());
  if (m <= k) {
    subproof(m, leaves.first(k), whole, out);
    out.push_back(root_of(leaves.subspan(k)));
  } else {
    subproof(m - k, leaves.subspan(k), false, out);
    out.push_back(root_of(leaves.first(k)));
  }
}

}  // namespace

base::Digest node_hash(const base::Digest& left, const base::Digest& right) {
  std::string bytes(1, '\x01');
  bytes.append(left.begin(), left.end());
  bytes.append(right.begin(), right.end());
  return base::sha256(bytes);
}

Frontier::Frontier(std::uint64_t size, std::vector<base::Digest> roots)
    : size_(size), roots_(std::move(roots)) {
  ENGINE_CHECK(roots_.size() == static_cast<std::size_t>(std::popcount(size_)));
}

void Frontier::append(const base::Digest& leaf) {
  base::Digest node = leaf;
  for (std::uint64_t bits = size_; (bits & 1) != 0; bits >>= 1) {
    node = node_hash(roots_.back(), node);
    roots_.pop_back();
  }
  roots_.push_back(node);
  ++size_;
}

base::Digest Frontier::root() const {
  if (roots_.empty()) {
    return base::sha256("");
  }
  base::Digest node = roots_.back();
  for (std::size_t i = roots_.size() - 1; i > 0; --i) {
    node = node_hash(roots_[i - 1], node);
  }
  return node;
}

base::Digest tree_root(const std::vector<base::Digest>& leaves) {
  return root_of(leaves);
}

std::vector<base::Digest> inclusion_proof(std::uint64_t index,
                                          const std::vector<base::Digest>& leaves) {
  ENGINE_CHECK(index < leaves.size());
  std::vector<base::Digest> out;
  path(static_cast<std::size_t>(index), leaves, out);
  return out;
}

std::vector<base::Digest> consistency_proof(std::uint64_t old_size,
                                            const std::vector<base::Digest>& leaves) {
  ENGINE_CHECK(old_size > 0 && old_size <= leaves.size());
  std::vector<base::Digest> out;
  subproof(static_cast<std::size_t>(old_size), leaves, true, out);
  return out;
}

bool verify_inclusion(const base::Digest& leaf, std::uint64_t index, std::uint64_t size,
                      const std::vector<base::Digest>& proof, const base::Digest& root) {
  if (index >= size) {
    return false;
  }
  std::uint64_t fn = index;
  std::uint64_t sn = size - 1;
  base::Digest r = leaf;
  for (const base::Digest& p : proof) {
    if (sn == 0) {
      return false;
    }
    if ((fn & 1) != 0 || fn == sn) {
      r = node_hash(p, r);
      while ((fn & 1) == 0 && fn != 0) {
        fn >>= 1;
        sn >>= 1;
      }
    } else {
      r = node_hash(r, p);
    }
    fn >>= 1;
    sn >>= 1;
  }
  return sn == 0 && r == root;
}

bool verify_consistency(std::uint64_t old_size, const base::Digest& old_root, std::uint64_t size,
                        const base::Digest& root, const std::vector<base::Digest>& proof) {
  if (old_size == 0 || old_size > size) {
    return false;
  }
  if (old_size == size) {
    return proof.empty() && old_root == root;
  }
  std::vector<base::Digest> steps;
  steps.reserve(proof.size() + 1);
  if (std::has_single_bit(old_size)) {
    steps.push_back(old_root);
  }
  for (const base::Digest& step : proof) {
    steps.push_back(step);
  }
  if (steps.empty()) {
    return false;
  }
  std::uint64_t fn = old_size - 1;
  std::uint64_t sn = size - 1;
  while ((fn & 1) != 0) {
    fn >>= 1;
    sn >>= 1;
  }
  base::Digest fr = steps[0];
  base::Digest sr = steps[0];
  for (std::size_t i = 1; i < steps.size(); ++i) {
    if (sn == 0) {
      return false;
    }
    if ((fn & 1) != 0 || fn == sn) {
      fr = node_hash(steps[i], fr);
      sr = node_hash(steps[i], sr);
      while ((fn & 1) == 0 && fn != 0) {
        fn >>= 1;
        sn >>= 1;
      }
    } else {
      sr = node_hash(sr, steps[i]);
    }
    fn >>= 1;
    sn >>= 1;
  }
  return sn == 0 && fr == old_root && sr == root;
}

}  // namespace engine::journal

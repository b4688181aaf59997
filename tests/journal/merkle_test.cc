#include "engine/journal/merkle.h"

#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/journal/record.h"

namespace engine::journal {
namespace {

std::string bytes(const std::string& hex) {
  std::string out;
  for (std::size_t i = 0; i < hex.size(); i += 2) {
    out.push_back(static_cast<char>(std::stoi(hex.substr(i, 2), nullptr, 16)));
  }
  return out;
}

// Leaves and roots of the reference tests of Certificate Transparency (shared widely with RFC
// 6962).
std::vector<base::Digest> leaves(std::size_t n) {
  const std::vector<std::string> data = {"",
                                         "00",
                                         "10",
                                         "2021",
                                         "3031",
                                         "40414243",
                                         "5051525354555657",
                                         "606162636465666768696a6b6c6d6e6f"};
  std::vector<base::Digest> out;
  for (std::size_t i = 0; i < n; ++i) {
    out.push_back(leaf_hash(bytes(data[i])));
  }
  return out;
}

TEST(Merkle, HasTheRootsOfTheReferenceTests) {
  const std::vector<std::string> roots = {"6e340b9c", "fac54203", "aeb6bcfe", "d37ee418",
                                          "4e3bbb1f", "76e67dad", "ddb89be4", "5dc9da79"};
  EXPECT_EQ(base::to_hex(tree_root({})), base::sha256_hex(""));
  for (std::size_t n = 1; n <= roots.size(); ++n) {
    EXPECT_EQ(base::to_hex(tree_root(leaves(n))).substr(0, 8), roots[n - 1]) << n;
  }
  EXPECT_EQ(base::to_hex(tree_root(leaves(8))),
            "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328");
}

std::string starts(const std::vector<base::Digest>& proof) {
  std::string out;
  for (const base::Digest& step : proof) {
    out += base::to_hex(step).substr(0, 8) + " ";
  }
  return out;
}

TEST(Merkle, HasTheProofsOfTheReferenceTests) {
  EXPECT_EQ(starts(consistency_proof(1, leaves(8))), "96a296d2 5f083f0a 6b47aaf2 ");
  EXPECT_EQ(starts(consistency_proof(6, leaves(8))), "0ebc5d34 ca854ea1 d37ee418 ");
  EXPECT_EQ(starts(consistency_proof(2, leaves(5))), "5f083f0a bc1a0643 ");
}

std::vector<base::Digest> many(std::size_t n) {
  std::vector<base::Digest> out;
  for (std::size_t i = 0; i < n; ++i) {
    out.push_back(leaf_hash(std::to_string(i)));
  }
  return out;
}

TEST(Merkle, FrontierGrowsToTheSameRoots) {
  Frontier frontier;
  const std::vector<base::Digest> all = many(70);
  for (std::size_t n = 0; n < all.size(); ++n) {
    const std::vector<base::Digest> so_far(all.begin(), all.begin() + static_cast<long>(n));
    EXPECT_EQ(frontier.root(), tree_root(so_far)) << n;
    frontier = Frontier(frontier.size(), frontier.roots());
    frontier.append(all[n]);
  }
}

TEST(Merkle, ProofsHoldForEveryPairOfSmallTreesAndForNothingElse) {
  for (std::size_t n = 1; n <= 17; ++n) {
    const std::vector<base::Digest> all = many(n);
    const base::Digest root = tree_root(all);
    const base::Digest other = leaf_hash("other");
    for (std::size_t i = 0; i < n; ++i) {
      const std::vector<base::Digest> proof = inclusion_proof(i, all);
      EXPECT_TRUE(verify_inclusion(all[i], i, n, proof, root)) << i << " of " << n;
      EXPECT_FALSE(verify_inclusion(other, i, n, proof, root)) << i << " of " << n;
      EXPECT_FALSE(verify_inclusion(all[i], i + 1, n, proof, root)) << i << " of " << n;
    }
    for (std::size_t m = 1; m <= n; ++m) {
      const std::vector<base::Digest> old(all.begin(), all.begin() + static_cast<long>(m));
      const std::vector<base::Digest> proof = consistency_proof(m, all);
      EXPECT_TRUE(verify_consistency(m, tree_root(old), n, root, proof)) << m << " of " << n;
      EXPECT_FALSE(verify_consistency(m, other, n, root, proof)) << m << " of " << n;
      EXPECT_FALSE(verify_consistency(m, tree_root(old), n, other, proof)) << m << " of " << n;
    }
  }
}

}  // namespace
}  // namespace engine::journal

// AES-256-GCM. Published values: test cases 13 to 16 of D. McGrew and J. Viega, "The Galois/Counter
// Mode of Operation (GCM)", appendix B, the submission that NIST SP 800-38D specifies.

#include "engine/base/aes_gcm.h"

#include <string>

#include <gtest/gtest.h>

#include "engine/base/hash.h"

namespace engine::base {
namespace {

std::string bytes(std::string_view hex) {
  std::string out;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2) {
    out.push_back(static_cast<char>(std::stoi(std::string(hex.substr(i, 2)), nullptr, 16)));
  }
  return out;
}

struct Published {
  const char* name;
  const char* key;
  const char* nonce;
  const char* text;
  const char* bound;
  const char* sealed;  // ciphertext, then the tag
};
constexpr const char* kZeroKey = "0000000000000000000000000000000000000000000000000000000000000000";
constexpr const char* kKey = "feffe9928665731c6d6a8f9467308308feffe9928665731c6d6a8f9467308308";
constexpr Published kPublished[] = {
    {"TestCase13", kZeroKey, "000000000000000000000000", "", "",
     "530f8afbc74536b9a963b4f1c4cb738b"},
    {"TestCase14", kZeroKey, "000000000000000000000000", "00000000000000000000000000000000", "",
     "cea7403d4d606b6e074ec5d3baf39d18d0d1c8a799996bf0265b98b5d48ab919"},
    {"TestCase15", kKey, "cafebabefacedbaddecaf888",
     "d9313225f88406e5a55909c5aff5269a86a7a9531534f7da2e4c303d8a318a721c3c0c95956809532fcf0e2449a6b"
     "5"
     "25b16aedf5aa0de657ba637b391aafd255",
     "",
     "522dc1f099567d07f47f37a32a84427d643a8cdcbfe5c0c97598a2bd2555d1aa8cb08e48590dbb3da7b08b1056828"
     "838"
     "c5f61e6393ba7a0abcc9f662898015adb094dac5d93471bdec1a502270e3cc6c"},
    {"TestCase16", kKey, "cafebabefacedbaddecaf888",
     "d9313225f88406e5a55909c5aff5269a86a7a9531534f7da2e4c303d8a318a721c3c0c95956809532fcf0e2449a6b"
     "5"
     "25b16aedf5aa0de657ba637b39",
     "feedfacedeadbeeffeedfacedeadbeefabaddad2",
     "522dc1f099567d07f47f37a32a84427d643a8cdcbfe5c0c97598a2bd2555d1aa8cb08e48590dbb3da7b08b1056828"
     "838"
     "c5f61e6393ba7a0abcc9f66276fc6ece0f4e1768cddf8853bb2d551b"},
};

class AesGcm : public ::testing::TestWithParam<Published> {};

TEST_P(AesGcm, SealsAndOpensAsPublished) {
  const Published& row = GetParam();
  const std::string sealed =
      aes_gcm_seal(bytes(row.key), bytes(row.nonce), bytes(row.text), bytes(row.bound));
  EXPECT_EQ(to_hex(sealed), row.sealed);
  const auto opened = aes_gcm_open(bytes(row.key), bytes(row.nonce), sealed, bytes(row.bound));
  ASSERT_TRUE(opened.has_value()) << opened.error().text();
  EXPECT_EQ(*opened, bytes(row.text));
}

TEST_P(AesGcm, OpensNothingThatDiffersInOneBit) {
  const Published& row = GetParam();
  const std::string good = bytes(row.sealed);
  for (std::size_t i = 0; i < good.size(); ++i) {
    std::string sealed = good;
    sealed[i] = static_cast<char>(sealed[i] ^ 1);
    EXPECT_FALSE(
        aes_gcm_open(bytes(row.key), bytes(row.nonce), sealed, bytes(row.bound)).has_value())
        << "byte " << i;
  }
  const auto opens = [&](std::string key, std::string nonce, const std::string& bound) {
    const auto opened = aes_gcm_open(key, nonce, good, bound);
    return opened.has_value() || opened.error().code != ErrorCode::kCorrupt;
  };
  std::string other = bytes(row.key);
  other[31] = static_cast<char>(other[31] ^ 1);
  EXPECT_FALSE(opens(other, bytes(row.nonce), bytes(row.bound))) << "another key";
  other = bytes(row.nonce);
  other[0] = static_cast<char>(other[0] ^ 1);
  EXPECT_FALSE(opens(bytes(row.key), other, bytes(row.bound))) << "another nonce";
  EXPECT_FALSE(opens(bytes(row.key), bytes(row.nonce), bytes(row.bound) + "x")) << "bound";
  for (const std::size_t length : {std::size_t{0}, std::size_t{1}, kGcmTagBytes - 1}) {
    EXPECT_FALSE(
        aes_gcm_open(bytes(row.key), bytes(row.nonce), good.substr(0, length), "").has_value())
        << length << " bytes";
  }
}

INSTANTIATE_TEST_SUITE_P(Published, AesGcm, ::testing::ValuesIn(kPublished),
                         [](const auto& row) { return std::string(row.param.name); });

TEST(Wipe, LeavesNothing) {
  std::string secret = "a secret that is longer than what a string keeps in itself";
  const char* const was = secret.data();
  const std::size_t length = secret.size();
  wipe(secret);
  EXPECT_TRUE(secret.empty());
  EXPECT_EQ(std::string(was, length), std::string(length, '\0'));  // still the string's own memory
}

}  // namespace
}  // namespace engine::base

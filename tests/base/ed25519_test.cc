// Published test vectors of Ed25519.

#include "engine/base/ed25519.h"

#include <string>
#include <string_view>

#include <gtest/gtest.h>

#include "engine/base/hash.h"

namespace engine::base {
namespace {

std::string from_hex(std::string_view hex) {
  std::string bytes;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2) {
    bytes.push_back(static_cast<char>(std::stoi(std::string(hex.substr(i, 2)), nullptr, 16)));
  }
  return bytes;
}

struct Vector {
  const char* secret;
  const char* public_key;
  const char* message;
  const char* signature;
};

// RFC 8032 section 7.1, TEST 1 and TEST 2.
constexpr Vector kVectors[] = {
    {"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
     "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
     "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b"
     "4"
     "6bd25bf5f0595bbe24655141438e7a100b"},
    {"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
     "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
     "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11"
     "d"
     "8c387b2eaeb4302aeeb00d291612bb0c00"}};

TEST(Ed25519, GivesThePublishedKeysAndSignatures) {
  for (const Vector& one : kVectors) {
    const std::string secret = from_hex(one.secret);
    const std::string message = from_hex(one.message);
    EXPECT_EQ(to_hex(ed25519_public(secret)), one.public_key);
    EXPECT_EQ(to_hex(ed25519_sign(secret, message)), one.signature);
    EXPECT_TRUE(ed25519_verify(from_hex(one.public_key), message, from_hex(one.signature)));
    EXPECT_FALSE(ed25519_verify(from_hex(one.public_key), message + "x", from_hex(one.signature)));
  }
}

TEST(Ed25519, RefusesWrongLengths) {
  const std::string key = from_hex(kVectors[0].public_key);
  const std::string signature = from_hex(kVectors[0].signature);
  EXPECT_FALSE(ed25519_verify(key.substr(1), "", signature));
  EXPECT_FALSE(ed25519_verify(key, "", signature.substr(1)));
  EXPECT_FALSE(ed25519_verify("", "", ""));
}

TEST(Ed25519, ReadsAndWritesPem) {
  // RFC 8410 section 10.1, the public key of its example.
  const std::string pem =
      "-----BEGIN PUBLIC KEY-----\n"
      "MCowBQYDK2VwAyEAGb9ECWmEzf6FQbrBZ9w7lshQhqowtrbLDFw4rXAxZuE=\n"
      "-----END PUBLIC KEY-----\n";
  const auto key = ed25519_from_pem(pem);
  ASSERT_TRUE(key.has_value());
  EXPECT_EQ(ed25519_to_pem(*key), pem);
  EXPECT_FALSE(ed25519_from_pem(pem.substr(0, 60)).has_value());
  EXPECT_FALSE(ed25519_from_pem("no key").has_value());
}

}  // namespace
}  // namespace engine::base

#include "engine/base/hash.h"

#include <gtest/gtest.h>

namespace engine::base {
namespace {

// FIPS 180-4: the examples of one block, two blocks and a million letters published with it.
TEST(Hash, Sha256OfThePublishedExamples) {
  EXPECT_EQ(sha256_hex(""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  EXPECT_EQ(sha256_hex("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(sha256_hex("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  EXPECT_EQ(sha256_hex(std::string(1'000'000, 'a')),
            "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
}

TEST(Hash, HexIsLowerCaseAndKeepsZeros) {
  EXPECT_EQ(to_hex(std::string_view("\x00\x0F\xF0\xAB", 4)), "000ff0ab");
  EXPECT_EQ(to_hex(std::string_view()), "");
}

// RFC 9562 appendix A.4: www.example.com in the namespace for domain names.
TEST(Hash, NameBasedIdOfThePublishedExample) {
  EXPECT_EQ(to_string(name_based_uuid(kNamespaceDns, "www.example.com")),
            "2ed6657d-e927-568b-95e1-2665a8aea6a2");
}

TEST(Hash, NameBasedIdsFollowNameAndNamespace) {
  const Uuid id = name_based_uuid(kNamespaceUrl, "https://chartferry.example/fhir");
  EXPECT_EQ(id, name_based_uuid(kNamespaceUrl, "https://chartferry.example/fhir"));
  EXPECT_NE(id, name_based_uuid(kNamespaceDns, "https://chartferry.example/fhir"));
  EXPECT_NE(id, name_based_uuid(kNamespaceUrl, "https://chartferry.example/fhir/"));
  EXPECT_EQ(id[6] >> 4, 5);     // version
  EXPECT_EQ(id[8] >> 6, 0b10);  // variant
  EXPECT_EQ(to_string(kNamespaceUrl), "6ba7b811-9dad-11d1-80b4-00c04fd430c8");
}

}  // namespace
}  // namespace engine::base

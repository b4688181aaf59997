// Keys, parts and lists of what was destroyed, without a store.

#include "engine/journal/seal.h"

#include <cstdlib>
#include <fstream>

#include <sys/stat.h>

#include "engine/base/aes_gcm.h"
#include "engine/journal/destruction.h"
#include "engine/journal/search_key.h"
#include "tests/journal/sealed_store.h"

namespace engine::journal {
namespace {

std::string bytes(std::string_view hex) {
  std::string out;
  for (std::size_t i = 0; i + 1 < hex.size(); i += 2) {
    out.push_back(static_cast<char>(std::stoi(std::string(hex.substr(i, 2)), nullptr, 16)));
  }
  return out;
}

DataKey key_of(char letter) {
  return {std::string(kKeyIdBytes, letter), std::string(32, letter)};
}

// RFC 5869 appendix A.1: the first block of what HKDF-Expand gives is HMAC over info and 0x01,
// which is how a part's key is made.
TEST(PartKey, IsTheFirstBlockOfHkdfExpand) {
  const std::string prk = bytes("077709362c2e32df0ddc3f0dc47bba6390b6c73bb50f9c3122ec844ad7c2b3e5");
  const std::string info = bytes("f0f1f2f3f4f5f6f7f8f9");
  EXPECT_EQ(base::to_hex(hmac_sha256(prk, info + '\x01')),
            "3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf");
  const base::Digest made = hmac_sha256(prk, std::string("chartferry part\n7\ndocument\n3\x01"));
  EXPECT_EQ(part_key(prk, 7, "document", 3), std::string(made.begin(), made.end()));
}

TEST(PartKey, DiffersWithEveryPieceOfThePlace) {
  const std::string secret(32, 's');
  const std::string key = part_key(secret, 7, "document", 3);
  EXPECT_NE(key, part_key(secret, 8, "document", 3));
  EXPECT_NE(key, part_key(secret, 7, "outcome", 3));
  EXPECT_NE(key, part_key(secret, 7, "document", 2));
  EXPECT_NE(key, part_key(std::string(32, 't'), 7, "document", 3));
  EXPECT_NE(part_key(secret, 1, "1\n1", 1), part_key(secret, 1, "1", 11));
}

TEST(Seal, OpensOnlyInItsPlaceWithItsKey) {
  CountedRandom random;
  const StoredPart plain = to_stored(Part("document", std::string(500, 'x')));
  const StoredPart sealed = seal(plain, 7, key_of('k'), random);
  EXPECT_EQ(sealed.codec, kCodecSealedZstd);
  EXPECT_EQ(sealed.bytes.size(), kKeyIdBytes + 12 + plain.bytes.size() + 16);
  EXPECT_EQ(sealed.hash, base::sha256(sealed.bytes));
  const auto opened = open(sealed, 7, key_of('k'));
  ASSERT_TRUE(opened.has_value()) << opened.error().text();
  EXPECT_EQ(opened->bytes, plain.bytes);
  EXPECT_EQ(opened->codec, kCodecZstd);
  EXPECT_EQ(opened->hash, plain.hash);
  EXPECT_NE(seal(plain, 7, key_of('k'), random).bytes, sealed.bytes) << "a nonce served twice";

  const auto refuses = [](const StoredPart& part, Position position, const DataKey& key) {
    const auto result = open(part, position, key);
    return !result && result.error().code == base::ErrorCode::kCorrupt;
  };
  EXPECT_TRUE(refuses(sealed, 8, key_of('k'))) << "of another record";
  EXPECT_TRUE(refuses(sealed, 7, key_of('l'))) << "another patient's key";
  EXPECT_TRUE(refuses(sealed, 7, DataKey(std::string(kKeyIdBytes, 'k'), std::string(32, 'l'))));
  StoredPart other = sealed;
  other.name = "outcome";
  EXPECT_TRUE(refuses(other, 7, key_of('k'))) << "another part";
  other = sealed;
  other.codec = kCodecSealedPlain;
  EXPECT_TRUE(refuses(other, 7, key_of('k'))) << "another codec";
  for (std::size_t i = 0; i < sealed.bytes.size(); ++i) {
    other = sealed;
    other.bytes[i] = static_cast<char>(other.bytes[i] ^ 0x10);
    EXPECT_TRUE(refuses(other, 7, key_of('k'))) << "byte " << i;
  }
  for (const std::size_t length : {std::size_t{0}, kKeyIdBytes, kKeyIdBytes + 27}) {
    other = sealed;
    other.bytes.resize(length);
    EXPECT_TRUE(refuses(other, 7, key_of('k'))) << length << " bytes";
  }
}

TEST(Wrap, OpensOnlyUnderItsMasterForItsSubject) {
  CountedRandom random;
  const MasterKeys masters({std::string(32, 'm')});
  const WrappedKey wrapped = wrap(key_of('k'), "p-a", std::string(32, 'm'), random);
  EXPECT_EQ(wrapped.master, masters.ids().front());
  EXPECT_EQ(wrapped.wrapped.find(std::string(8, 'k')), std::string::npos);
  EXPECT_EQ(unwrap(wrapped, masters)->secret, std::string(32, 'k'));
  EXPECT_EQ(unwrap(wrapped, MasterKeys({std::string(32, 'n')})).error().code,
            base::ErrorCode::kUnsupported);
  const auto corrupt = [&](const WrappedKey& key) {
    const auto result = unwrap(key, masters);
    return !result && result.error().code == base::ErrorCode::kCorrupt;
  };
  WrappedKey other = wrapped;
  other.subject = "p-b";
  EXPECT_TRUE(corrupt(other)) << "a key put in another patient's place";
  other = wrapped;
  other.id[0] = 'z';
  EXPECT_TRUE(corrupt(other));
  other = wrapped;
  other.wrapped.pop_back();
  EXPECT_TRUE(corrupt(other));
  for (std::size_t i = 0; i < wrapped.wrapped.size(); ++i) {
    other = wrapped;
    other.wrapped[i] = static_cast<char>(other.wrapped[i] ^ 1);
    EXPECT_TRUE(corrupt(other)) << "byte " << i;
  }
}

TEST(MasterKeyFiles, AreReadAndRefusedByName) {
  const TemporaryFolder folder;
  const auto write_key = [&](const char* name, const std::string& text, mode_t mode) {
    std::ofstream(folder.file(name)) << text;
    ::chmod(folder.file(name).c_str(), mode);
    return folder.file(name);
  };
  const std::string good = write_key("good", std::string(64, 'a') + "\n", 0600);
  const auto loaded = MasterKeys::load({good, write_key("other", std::string(64, 'b'), 0400)});
  ASSERT_TRUE(loaded.has_value()) << loaded.error().text();
  EXPECT_EQ(loaded->ids().size(), 2u);
  EXPECT_EQ(*loaded->find(master_id(std::string(32, '\xAA'))), std::string(32, '\xAA'));
  EXPECT_EQ(loaded->find("0123456789abcdef"), nullptr);

  struct Refusal {
    std::string file;
    base::ErrorCode code;
  };
  for (const Refusal& row : std::vector<Refusal>{
           {write_key("group", std::string(64, 'a'), 0640), base::ErrorCode::kInvalid},
           {write_key("world", std::string(64, 'a'), 0604), base::ErrorCode::kInvalid},
           {write_key("short", std::string(63, 'a'), 0600), base::ErrorCode::kInvalid},
           {write_key("long", std::string(66, 'a'), 0600), base::ErrorCode::kInvalid},
           {write_key("letters", std::string(64, 'g'), 0600), base::ErrorCode::kInvalid},
           {write_key("empty", "", 0600), base::ErrorCode::kInvalid},
           {folder.file("none"), base::ErrorCode::kNotFound}}) {
    const auto refused = MasterKeys::load({good, row.file});
    ASSERT_FALSE(refused.has_value()) << row.file;
    EXPECT_EQ(refused.error().code, row.code) << row.file;
    EXPECT_EQ(refused.error().where, row.file);
  }
}

TEST(MasterKeyFiles, AreFoundAmongTheCredentialsOfTheService) {
  const TemporaryFolder folder;
  std::ofstream(folder.file("journal")) << std::string(64, 'a');
  ::chmod(folder.file("journal").c_str(), 0440);  // the folder is the service's own
  ::unsetenv("CREDENTIALS_DIRECTORY");
  EXPECT_FALSE(MasterKeys::load({"credential:journal"}).has_value());
  ::setenv("CREDENTIALS_DIRECTORY", folder.file("").c_str(), 1);
  EXPECT_TRUE(MasterKeys::load({"credential:journal"}).has_value());
  EXPECT_FALSE(MasterKeys::load({"credential:other"}).has_value());
  EXPECT_FALSE(MasterKeys::load({"credential:../journal"}).has_value());
  EXPECT_FALSE(MasterKeys::load({"credential:"}).has_value());
  ::unsetenv("CREDENTIALS_DIRECTORY");
}

TEST(DestructionList, IsReadAsItWasPrinted) {
  Destruction what;
  what.keys = {std::string(kKeyIdBytes, 'k')};
  what.records = {{1, 4}, {6, 6}, {9, 120}};
  const std::string text = print(what);
  EXPECT_EQ(text,
            "key 6b6b6b6b6b6b6b6b6b6b6b6b6b6b6b6b\nrecords 1 4\nrecords 6 6\nrecords 9 120\n");
  const auto again = parse_destruction(text);
  ASSERT_TRUE(again.has_value());
  EXPECT_EQ(print(*again), text);
  for (const Position held : {1U, 4U, 6U, 9U, 120U}) {
    EXPECT_TRUE(again->holds(held)) << held;
  }
  for (const Position not_held : {0U, 5U, 7U, 8U, 121U}) {
    EXPECT_FALSE(again->holds(not_held)) << not_held;
  }
  EXPECT_FALSE(Destruction().holds(1));
}

TEST(DestructionList, JoinsSpansInAnyOrder) {
  Destruction what;
  what.records = joined({{9, 12}, {1, 2}, {3, 3}, {7, 10}, {20, 30}, {22, 25}});
  EXPECT_EQ(print(what), "records 1 3\nrecords 7 12\nrecords 20 30\n");
  EXPECT_TRUE(joined({}).empty());
}

TEST(DestructionList, RefusesEverythingElse) {
  for (const char* text :
       {"x", "\n", "key 00\n", "key 6b6b6b6b6b6b6b6b6b6b6b6b6b6b6b6\n",
        "key 6b6b6b6b6b6b6b6b6b6b6b6b6b6b6b6g\n", "records 1 4", "records 1\n", "records 0 4\n",
        "records 4 1\n", "records 1 4 \n", "records  1 4\n", "records 1 4\nrecords 4 5\n",
        "records 5 6\nrecords 1 2\n", "records -1 4\n", "records 1 99999999999999999999\n",
        "records 1 4\r\n", "Records 1 4\n"}) {
    EXPECT_FALSE(parse_destruction(text).has_value()) << text;
  }
}

}  // namespace
}  // namespace engine::journal

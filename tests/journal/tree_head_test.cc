// Signed tree heads: keys and signatures, the file they are kept in, and what they find.

#include "engine/journal/tree_head.h"

#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>
#include <sqlite3.h>

#include "engine/journal/head_keeper.h"
#include "engine/journal/verify.h"
#include "tests/journal/fixture.h"
#include "tests/journal/growing_store.h"

namespace engine::journal {
namespace {

std::string bytes_of(std::string_view hex) {
  const auto digest = digest_from_hex(hex);
  return digest ? std::string(digest->begin(), digest->end()) : std::string();
}

// RFC 8032 section 7.1, TEST 1.
const std::string kSecret =
    bytes_of("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60");
const std::string kPublic =
    bytes_of("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a");

HeadKey key_of(const HeadSigner& signer) {
  auto key = HeadKey::from_pem(signer.public_pem());
  EXPECT_TRUE(key.has_value());
  return *key;
}

std::vector<TreeHead> heads_of(const std::string& path) {
  auto file = read_tree_heads(path);
  EXPECT_TRUE(file.has_value()) << (file ? "" : file.error().text());
  return file ? file->heads : std::vector<TreeHead>();
}

TEST(TreeHeads, AreNamedByThePublicKeyOfTheirSecret) {
  const HeadSigner signer(kSecret);
  const TreeHead head = signer.sign(3, base::sha256("root"), "2026-03-02T09:41:00.000Z");
  EXPECT_EQ(head.key, base::sha256_hex(kPublic));
  EXPECT_EQ(key_of(signer).name(), head.key);
  EXPECT_TRUE(key_of(signer).verify(head));
}

TEST(TreeHeads, VerifyOnlyAsTheyWereSigned) {
  const HeadSigner signer(kSecret);
  const HeadKey key = key_of(signer);
  const TreeHead good = signer.sign(3, base::sha256("root"), "2026-03-02T09:41:00.000Z");
  TreeHead head = good;
  head.size = 4;
  EXPECT_FALSE(key.verify(head));
  head = good;
  head.root[31] ^= 1;
  EXPECT_FALSE(key.verify(head));
  head = good;
  head.time = "2026-03-02T09:41:01.000Z";
  EXPECT_FALSE(key.verify(head));
  head = good;
  head.signature[0] = head.signature[0] == '0' ? '1' : '0';
  EXPECT_FALSE(key.verify(head));
  head.signature = "no hex";
  EXPECT_FALSE(key.verify(head));
  const HeadSigner other(std::string(32, 'x'));
  EXPECT_FALSE(key_of(other).verify(good));
}

TEST(TreeHeads, HaveOneSpelling) {
  const TreeHead head =
      HeadSigner(kSecret).sign(12, base::sha256("root"), "2026-03-02T09:41:00.000Z");
  const std::string line = print_tree_head(head);
  const auto again = parse_tree_head(line);
  ASSERT_TRUE(again.has_value());
  EXPECT_EQ(print_tree_head(*again), line);
  EXPECT_TRUE(key_of(HeadSigner(kSecret)).verify(*again));
  for (const std::string& wrong :
       {std::string(), std::string("size=12"), "x" + line, line.substr(0, line.size() - 1) + " x=1",
        "size=012" + line.substr(line.find(" root")), "size=-1" + line.substr(line.find(" root")),
        "size=99999999999999999999" + line.substr(line.find(" root"))}) {
    EXPECT_FALSE(parse_tree_head(wrong).has_value()) << wrong;
  }
}

TEST(TreeHeads, RefuseKeysThatAreNone) {
  EXPECT_FALSE(HeadKey::from_pem("").has_value());
  // An X25519 key, from RFC 8410 section 10.2: the right form, the wrong kind.
  EXPECT_FALSE(HeadKey::from_pem("-----BEGIN PUBLIC KEY-----\n"
                                 "MCowBQYDK2VuAyEAGb9ECWmEzf6FQbrBZ9w7lshQhqowtrbLDFw4rXAxZuE=\n"
                                 "-----END PUBLIC KEY-----\n")
                   .has_value());
}

TEST(TreeHeads, OutliveAPowerLossInTheMiddleOfALine) {
  const TemporaryFolder folder;
  const std::string path = folder.file("heads");
  const HeadSigner signer(kSecret);
  EXPECT_TRUE(heads_of(path).empty());
  const TreeHead first = signer.sign(1, base::sha256("1"), "2026-03-02T09:41:00.000Z");
  const TreeHead second = signer.sign(2, base::sha256("2"), "2026-03-02T09:42:00.000Z");
  ASSERT_TRUE(append_tree_head(path, first));
  std::ofstream(path, std::ios::app) << print_tree_head(second).substr(0, 40);
  EXPECT_EQ(heads_of(path).size(), 1U);
  ASSERT_TRUE(append_tree_head(path, second));
  const auto heads = heads_of(path);
  ASSERT_EQ(heads.size(), 2U);
  EXPECT_EQ(print_tree_head(heads[1]), print_tree_head(second));
}

TEST(TreeHeads, StandInTheirLinesWhateverElseAFileHolds) {
  const TemporaryFolder folder;
  const std::string path = folder.file("heads");
  const HeadSigner signer(kSecret);
  const std::string time = "2026-03-02T09:41:00.000Z";
  std::ofstream(path) << print_tree_head(signer.sign(1, base::sha256("1"), time)) << "size=3\n\n"
                      << print_tree_head(signer.sign(2, base::sha256("2"), time));
  const auto file = read_tree_heads(path);
  ASSERT_TRUE(file.has_value()) << file.error().text();
  ASSERT_EQ(file->heads.size(), 2U);
  EXPECT_EQ(file->heads[1].size, 2U);
  EXPECT_EQ(file->lines, (std::vector<std::size_t>{1, 4}));
  EXPECT_EQ(no_heads_of(*file, "heads"),
            (std::vector<std::string>{"heads:2: this line is no tree head; it proves nothing",
                                      "heads:3: this line is no tree head; it proves nothing"}));
  EXPECT_TRUE(check_tree_heads(*file, key_of(signer), "heads").empty());
  for (int i = 0; i < 1000; ++i) {
    std::ofstream(path, std::ios::app) << "another file\n";
  }
  EXPECT_EQ(read_tree_heads(path)->no_heads.size(), 16U) << "the first";
}

TEST(TreeHeads, TakeNoTextAwayThatIsNotTheirs) {
  const TemporaryFolder folder;
  const std::string path = folder.file("other");
  std::ofstream(path) << "a key without a line feed";
  const TreeHead head = HeadSigner(kSecret).sign(1, base::sha256("1"), "2026-03-02T09:41:00.000Z");
  const auto refused = append_tree_head(path, head);
  ASSERT_FALSE(refused.has_value());
  EXPECT_NE(refused.error().text().find("its last line is no tree head"), std::string::npos);
  EXPECT_EQ(std::filesystem::file_size(path), 25U);
  for (const std::string& torn : {std::string(), std::string(100, '\0'), std::string("si"),
                                  print_tree_head(head).substr(0, 40)}) {
    std::ofstream(path, std::ios::binary) << print_tree_head(head) << torn;
    EXPECT_TRUE(append_tree_head(path, head).has_value());
    EXPECT_EQ(heads_of(path).size(), 2U);
  }
}

// In an anchor's folder others may write.
TEST(TreeHeads, AreWrittenAlongNoLink) {
  const TemporaryFolder folder;
  const std::string secret = folder.file("key");
  const std::string heads = folder.file("heads");
  const auto content = [](const std::string& path) {
    std::ifstream file(path);
    return std::string(std::istreambuf_iterator<char>(file), {});
  };
  std::ofstream(secret) << "secret";
  const TreeHead head = HeadSigner(kSecret).sign(1, base::sha256("1"), "2026-03-02T09:41:00.000Z");
  std::filesystem::create_symlink(secret, heads + ".part");
  ASSERT_TRUE(write_tree_heads(heads, {head}).has_value());
  EXPECT_EQ(content(secret), "secret");
  EXPECT_EQ(content(heads), print_tree_head(head));
  EXPECT_FALSE(std::filesystem::is_symlink(heads));
  EXPECT_TRUE(check_heads_file(heads).has_value());
  std::filesystem::remove(heads);
  std::filesystem::create_symlink(secret, heads);
  const auto refused = append_tree_head(heads, head);
  ASSERT_FALSE(refused.has_value());
  EXPECT_NE(refused.error().text().find("this is no regular file"), std::string::npos);
  EXPECT_FALSE(check_heads_file(heads).has_value());
  EXPECT_EQ(content(secret), "secret");
}

TEST(TreeHeads, AnotherKeyAndAShrunkTreeAreNamed) {
  const HeadSigner signer(kSecret);
  const HeadSigner other(std::string(32, 'x'));
  const std::string time = "2026-03-02T09:41:00.000Z";
  TreeHead forged = signer.sign(6, base::sha256("6"), time);
  forged.size = 7;
  HeadsFile file;
  file.heads = {signer.sign(5, base::sha256("5"), time), other.sign(6, base::sha256("6"), time),
                forged, signer.sign(4, base::sha256("4"), time)};
  file.lines = {1, 2, 4, 5};
  const auto faults = check_tree_heads(file, key_of(signer), "heads");
  ASSERT_EQ(faults.size(), 3U);
  EXPECT_NE(faults[0].find("heads, line 2: signed with another key"), std::string::npos);
  EXPECT_NE(faults[1].find("heads, line 4: the signature does not verify"), std::string::npos);
  EXPECT_NE(faults[2].find("heads, line 5: covers 4 records"), std::string::npos);
}

class KeptHeads : public ::testing::Test {
 protected:
  std::unique_ptr<Store> store_of(const std::string& name, const std::vector<std::string>& ids) {
    auto store = open_sqlite_store({folder_.file(name), OpenMode::kEngine});
    EXPECT_TRUE(store.has_value());
    for (const std::string& id : ids) {
      EXPECT_TRUE(write(**store, clock_, Change(record_of(Kind::kAccepted, id, 1))).has_value());
    }
    return std::move(*store);
  }
  HeadKeeper keeper_of(const Store& store) {
    return HeadKeeper(store, clock_, HeadSigner(kSecret),
                      {heads_, {folder_.file("anchor"), folder_.file("second")}});
  }

  TemporaryFolder folder_;
  SetClock clock_;
  std::string heads_ = folder_.file("heads");
};

TEST_F(KeptHeads, AreSignedWhenTheTreeHasGrown) {
  const auto store = store_of("a", {"k", "l"});
  HeadKeeper keeper = keeper_of(*store);
  const auto first = keeper.keep();
  ASSERT_TRUE(first.has_value() && first->head.has_value());
  EXPECT_EQ(first->head->size, 2U);
  const auto nothing = keeper.keep();
  ASSERT_TRUE(nothing.has_value());
  EXPECT_FALSE(nothing->head.has_value());
  ASSERT_TRUE(write(*store, clock_, Change(record_of(Kind::kAccepted, "m", 1))).has_value());
  ASSERT_TRUE(keeper.keep().has_value());
  HeadKeeper after_a_start = keeper_of(*store);
  const auto still = after_a_start.keep();
  ASSERT_TRUE(still.has_value());
  EXPECT_FALSE(still->head.has_value());
  const auto heads = heads_of(heads_);
  ASSERT_EQ(heads.size(), 2U);
  EXPECT_EQ(heads_of(folder_.file("anchor")).size(), 2U);
  EXPECT_EQ(heads_of(folder_.file("second")).size(), 2U);
  EXPECT_TRUE(
      check_tree_heads(*read_tree_heads(heads_), key_of(HeadSigner(kSecret)), "heads").empty());
  const auto verification = verify(*store, heads);
  ASSERT_TRUE(verification.has_value());
  EXPECT_TRUE(verification->sound());
  EXPECT_EQ(verification->heads_agree, 2U);
  EXPECT_EQ(verification->root, heads[1].root);
}

TEST_F(KeptHeads, TellARewrittenLogFromAGrownOne) {
  const auto store = store_of("a", {"k", "l", "m"});
  ASSERT_TRUE(keeper_of(*store).keep().has_value());
  // A log that is sound in itself, but another one.
  const auto rewritten = store_of("b", {"k", "x", "m", "n"});
  const auto refused = keeper_of(*rewritten).keep();
  ASSERT_FALSE(refused.has_value());
  EXPECT_EQ(refused.error().code, base::ErrorCode::kCorrupt);
  const auto cut = store_of("c", {"k", "l"});
  ASSERT_FALSE(keeper_of(*cut).keep().has_value());
  const auto heads = heads_of(heads_);
  ASSERT_EQ(heads.size(), 1U);  // nothing was signed over what does not agree
  const auto other = verify(*rewritten, heads);
  const auto shorter = verify(*cut, heads);
  ASSERT_TRUE(other.has_value() && shorter.has_value());
  ASSERT_EQ(other->faults.size(), 1U);
  EXPECT_NE(other->faults[0].find("the first 3 records are not those"), std::string::npos);
  ASSERT_EQ(shorter->faults.size(), 1U);
  EXPECT_NE(shorter->faults[0].find("covers 3 records, the log has 2"), std::string::npos);
}

// As when a standby takes over that lacked the last records, under an engine that goes on.
// The first head stays, and everything behind it is somebody's who has no key.
TEST_F(KeptHeads, WhatAnEngineWouldHaveSignedAndNoHeadCoversIsNotProved) {
  const auto of_kind = [this](Store& store, Kind kind, std::chrono::seconds later) {
    clock_.set(std::chrono::seconds(1'800'000'000) + later);
    ASSERT_TRUE(write(store, clock_, Change(record_of(kind, "k", 1))).has_value());
  };
  const auto found = [this](const Store& store) {
    const auto report = verify(store, heads_of(heads_));
    return std::to_string(report->covered) + " of " + std::to_string(report->records) +
           (report->proved() ? " proved " : " not proved ") + report->unproved.substr(0, 40);
  };
  const auto store = store_of("a", {"k"});
  ASSERT_TRUE(keeper_of(*store).keep().has_value());
  of_kind(*store, Kind::kChecked, std::chrono::seconds(1));
  of_kind(*store, Kind::kDispatched, std::chrono::seconds(50));
  EXPECT_EQ(found(*store), "1 of 3 proved ") << "it was killed within the minute";
  EXPECT_EQ(keeper_of(*store).covered().value(), 1U);
  of_kind(*store, Kind::kStarted, std::chrono::hours(5));
  of_kind(*store, Kind::kLanded, std::chrono::hours(5));
  of_kind(*store, Kind::kRead, std::chrono::hours(9));  // a command, while no engine was there
  EXPECT_EQ(found(*store), "1 of 6 proved ");
  of_kind(*store, Kind::kAnswered, std::chrono::hours(9));
  EXPECT_EQ(found(*store), "1 of 7 not proved record 7 was written by an engine long a");
  of_kind(*store, Kind::kStopped, std::chrono::hours(9));
  EXPECT_EQ(found(*store), "1 of 8 not proved record 8 says that an engine ended, whic");
  HeadKeeper keeper = keeper_of(*store);
  const auto kept = keeper.keep();
  ASSERT_TRUE(kept.has_value());
  EXPECT_EQ(kept->uncovered.substr(0, 46), "the newest head covers 1 of 8 records; record ");
  EXPECT_EQ(found(*store), "8 of 8 proved ");
  EXPECT_EQ(keeper.keep()->uncovered, "");
  EXPECT_EQ(keeper_of(*store).keep()->uncovered, "");
}

// It is signed over from then on; the start's own record keeps it.
TEST_F(KeptHeads, AStartSaysHowManyRecordsWereCoveredAndVerifyReadsIt) {
  const auto store = store_of("a", {"k"});
  const auto start = [&](Position through, const char* reason) {
    Record started;
    started.kind = Kind::kStarted;
    started.through = through;
    started.reason = reason;
    ASSERT_TRUE(write(*store, clock_, Change(started)).has_value());
  };
  const auto stop = [&] {
    Record stopped;
    stopped.kind = Kind::kStopped;
    ASSERT_TRUE(write(*store, clock_, Change(stopped)).has_value());
  };
  start(1, "");
  stop();
  start(3, "");
  stop();
  start(0, "");            // of an engine of before
  start(3, kSharedStart);  // the others have heads of their own
  EXPECT_EQ(verify(*store)->remarks, std::vector<std::string>());
  start(3, "");
  const auto report = verify(*store);
  ASSERT_EQ(report->remarks.size(), 1U);
  EXPECT_EQ(report->remarks[0].substr(0, 76),
            "record 8: when this engine started signed heads covered 3 of the 7 records b");
}

TEST_F(KeptHeads, NothingIsSignedOverALogThatCameInAnothersPlace) {
  const auto store = store_of("a", {"k", "l", "m"});
  GrowingStore seen(*store, nullptr);
  HeadKeeper keeper = keeper_of(seen);
  ASSERT_TRUE(keeper.keep().has_value());
  const auto shorter = store_of("b", {"k", "l"});
  seen.be(*shorter);
  EXPECT_NE(keeper.keep().error().text().find("there were 3, the journal has 2"),
            std::string::npos);
  for (const char* id : {"x", "y"}) {
    ASSERT_TRUE(write(*shorter, clock_, Change(record_of(Kind::kAccepted, id, 1))).has_value());
  }
  EXPECT_EQ(keeper.keep().error().code, base::ErrorCode::kCorrupt);
  EXPECT_EQ(heads_of(heads_).size(), 1U);
  // What was read and not signed is forgotten without a word.
  HeadKeeper other = keeper_of(seen);
  seen.be(*store);
  ASSERT_TRUE(other.keep().has_value());
  const auto longer = store_of("c", {"k", "l", "m", "n"});
  seen.be(*longer);
  const auto kept = other.keep();
  ASSERT_TRUE(kept.has_value()) << kept.error().text();
  EXPECT_EQ(kept->head->size, 4U);
  EXPECT_EQ(verify(*longer, heads_of(heads_))->faults, std::vector<std::string>());
}

TEST_F(KeptHeads, AnOlderCopyContradictsItsAnchorAndIsNotSigned) {
  const auto store = store_of("a", {"k", "l", "m", "n"});
  ASSERT_TRUE(keeper_of(*store).keep().has_value());
  // Brought back together with its heads, of which there were none yet.
  std::filesystem::remove(heads_);
  const auto older = store_of("b", {"k", "l"});
  HeadKeeper keeper = keeper_of(*older);
  for (int again = 0; again < 2; ++again) {
    const auto refused = keeper.keep();
    ASSERT_FALSE(refused.has_value());
    EXPECT_EQ(refused.error().code, base::ErrorCode::kCorrupt);
    EXPECT_NE(refused.error().text().find("there were 4, the journal has 2"), std::string::npos)
        << refused.error().text();
  }
  EXPECT_FALSE(std::filesystem::exists(heads_));
  EXPECT_EQ(heads_of(folder_.file("anchor")).size(), 1U);
  // Larger again by other records: still not the tree that was signed.
  for (const char* id : {"x", "y", "z"}) {
    ASSERT_TRUE(write(*older, clock_, Change(record_of(Kind::kAccepted, id, 1))).has_value());
  }
  EXPECT_NE(keeper.keep().error().text().find("are not those that were signed"), std::string::npos);
  // Somebody decided.
  for (const char* name : {"anchor", "second"}) {
    std::filesystem::rename(folder_.file(name), folder_.file(name + std::string(".before")));
  }
  const auto kept = keeper.keep();
  ASSERT_TRUE(kept.has_value()) << kept.error().text();
  EXPECT_EQ(kept->head->size, 5U);
}

TEST_F(KeptHeads, ALineThatNobodyWithTheKeyWroteHoldsNothingUp) {
  const auto store = store_of("a", {"k", "l"});
  ASSERT_TRUE(keeper_of(*store).keep().has_value());
  const std::string anchor = folder_.file("anchor");
  const TreeHead head = heads_of(anchor).front();
  TreeHead longer = head;
  longer.size = 99'999'999;
  TreeHead other = head;
  other.root = base::sha256("another log");
  for (TreeHead* forged : {&longer, &other}) {
    forged->signature = std::string(128, '0');
    ASSERT_TRUE(append_tree_head(anchor, *forged).has_value());
  }
  ASSERT_TRUE(write(*store, clock_, Change(record_of(Kind::kAccepted, "m", 1))).has_value());
  HeadKeeper keeper = keeper_of(*store);
  for (int again = 0; again < 2; ++again) {
    const auto kept = keeper.keep();
    ASSERT_TRUE(kept.has_value()) << kept.error().text();
    ASSERT_EQ(kept->unproved.size(), 2U);
    for (const char* line : {":2: the signature", ":3: the signature"}) {
      EXPECT_TRUE((kept->unproved[0] + kept->unproved[1]).find(anchor + line) != std::string::npos)
          << kept->unproved[0] << kept->unproved[1];
    }
    EXPECT_TRUE(kept->unwritten.empty());
    EXPECT_EQ(keeper.newest()->size, 3U);
  }
  EXPECT_EQ(heads_of(heads_).size(), 2U);
  EXPECT_EQ(heads_of(anchor).size(), 4U);
  // Not taken over into a file that is made again.
  std::filesystem::remove(heads_);
  ASSERT_TRUE(keeper_of(*store).keep().has_value());
  EXPECT_EQ(heads_of(heads_).size(), 2U);
  ASSERT_TRUE(write_tree_heads(anchor, heads_of(heads_)).has_value());
  EXPECT_TRUE(keeper.keep()->unproved.empty()) << "somebody took them out";
}

TEST_F(KeptHeads, AHeadOfAnotherKeyCountsWhereNoneOfThisKeyStands) {
  const auto store = store_of("a", {"k"});
  const std::string anchor = folder_.file("anchor");
  const TreeHead forged =
      HeadSigner(std::string(32, 'x')).sign(1000, base::sha256("x"), "2026-03-02T09:41:00.000Z");
  ASSERT_TRUE(append_tree_head(anchor, forged).has_value());
  EXPECT_FALSE(keeper_of(*store).keep().has_value()) << "the key may have been exchanged";
  std::filesystem::remove(anchor);
  ASSERT_TRUE(keeper_of(*store).keep().has_value());
  ASSERT_TRUE(append_tree_head(anchor, forged).has_value());
  HeadKeeper keeper = keeper_of(*store);
  const auto kept = keeper.keep();
  ASSERT_TRUE(kept.has_value()) << kept.error().text();
  ASSERT_EQ(kept->unproved.size(), 1U);
  EXPECT_NE(kept->unproved[0].find(anchor + ":2: signed with another key"), std::string::npos)
      << kept->unproved[0];
  EXPECT_EQ(keeper.newest()->size, 1U);
}

TEST_F(KeptHeads, ManyAreThinnedOutByAStart) {
  const std::string anchor = folder_.file("anchor");
  const auto store = store_of("a", {"k0"});
  const HeadSigner signer(kSecret);
  const auto start = [&] {
    HeadKeeper keeper(*store, clock_, HeadSigner(kSecret), {heads_, {anchor}, true, 10});
    return keeper.keep();
  };
  for (int i = 1; i <= 40; ++i) {
    ASSERT_TRUE(start().has_value());
    ASSERT_TRUE(
        write(*store, clock_, Change(record_of(Kind::kAccepted, "k" + std::to_string(i), 1))));
    for (const std::string& path : {heads_, anchor}) {
      const auto heads = heads_of(path);
      EXPECT_LE(heads.size(), 11U);
      EXPECT_EQ(heads.front().size, 1U);
      EXPECT_EQ(heads.back().size, static_cast<std::uint64_t>(i));
      EXPECT_TRUE(check_tree_heads(*read_tree_heads(path), key_of(signer), path).empty());
    }
  }
  EXPECT_EQ(heads_of(heads_)[heads_of(heads_).size() - 2].size, 39U) << "the newest stay";
  // One that somebody has to look at stays as it is.
  std::ofstream(anchor, std::ios::app) << "nothing\n";
  const std::size_t before = heads_of(anchor).size();
  for (int i = 0; i < 5; ++i) {
    ASSERT_TRUE(
        write(*store, clock_, Change(record_of(Kind::kAccepted, "m" + std::to_string(i), 1))));
    ASSERT_TRUE(start().has_value());
  }
  EXPECT_EQ(heads_of(anchor).size(), before + 5);
}

TEST_F(KeptHeads, ALineThatIsNoHeadIsNamedAndTheHeadsAroundItCount) {
  const auto store = store_of("a", {"k"});
  ASSERT_TRUE(keeper_of(*store).keep().has_value());
  const std::vector<std::string> files = {heads_, folder_.file("anchor")};
  for (const std::string& file : files) {
    std::ofstream(file, std::ios::app) << "nothing\n";
  }
  ASSERT_TRUE(write(*store, clock_, Change(record_of(Kind::kAccepted, "l", 1))).has_value());
  HeadKeeper keeper = keeper_of(*store);
  for (int again = 0; again < 2; ++again) {
    const auto kept = keeper.keep();
    ASSERT_TRUE(kept.has_value()) << kept.error().text();
    EXPECT_EQ(kept->unwritten, std::vector<std::string>());
    ASSERT_EQ(kept->unproved.size(), 2U);
    for (std::size_t i = 0; i < files.size(); ++i) {
      EXPECT_EQ(kept->unproved[i], files[i] + ":2: this line is no tree head; it proves nothing");
      EXPECT_EQ(heads_of(files[i]).size(), 2U) << "the next head comes behind it";
    }
  }
  // What stands before such a line is held against the journal all the same.
  const auto other = store_of("b", {"x", "y", "z"});
  EXPECT_EQ(keeper_of(*other).keep().error().code, base::ErrorCode::kCorrupt);
  ASSERT_TRUE(write_tree_heads(heads_, heads_of(heads_)).has_value());
  EXPECT_EQ(keeper.keep()->unproved.size(), 1U);
  ASSERT_TRUE(write_tree_heads(files[1], heads_of(heads_)).has_value());
  EXPECT_TRUE(keeper.keep()->unproved.empty()) << "somebody took them out";
}

TEST_F(KeptHeads, NothingIsWrittenIntoAnAnchorThatIsAnotherFile) {
  const auto store = store_of("a", {"k"});
  const std::string anchor = folder_.file("anchor");
  std::ofstream(anchor) << "listen = \"127.0.0.1:8080\"\nhosts";
  HeadKeeper keeper = keeper_of(*store);
  for (int again = 0; again < 2; ++again) {
    const auto kept = keeper.keep();
    ASSERT_TRUE(kept.has_value()) << kept.error().text();
    ASSERT_EQ(kept->unwritten.size(), 1U);
    EXPECT_EQ(kept->unwritten[0], anchor +
                                      ":1: this file holds lines and not one tree head; none is "
                                      "written into it");
  }
  EXPECT_EQ(std::filesystem::file_size(anchor), 31U);
  EXPECT_EQ(heads_of(heads_).size(), 1U);
  std::filesystem::remove(anchor);
  EXPECT_TRUE(keeper.keep()->unwritten.empty());
  EXPECT_EQ(heads_of(anchor).size(), 1U);
}

TEST_F(KeptHeads, AMissingFileIsMadeAgainFromAnotherAndSaid) {
  const auto store = store_of("a", {"k"});
  ASSERT_TRUE(keeper_of(*store).keep().has_value());
  ASSERT_TRUE(write(*store, clock_, Change(record_of(Kind::kAccepted, "l", 1))).has_value());
  HeadKeeper keeper = keeper_of(*store);
  ASSERT_TRUE(keeper.keep()->made_again.empty());
  const auto all = heads_of(heads_);
  ASSERT_EQ(all.size(), 2U);
  for (const std::string& lost : {heads_, folder_.file("anchor")}) {
    std::filesystem::remove(lost);
    const auto kept = keeper_of(*store).keep();
    ASSERT_TRUE(kept.has_value());
    ASSERT_EQ(kept->made_again.size(), 1U);
    EXPECT_EQ(kept->made_again[0],
              lost + " held no heads although some were signed: 2 were written into it");
    EXPECT_EQ(heads_of(lost).size(), 2U);
  }
  // Under a running engine, with the next head.
  std::filesystem::remove(heads_);
  ASSERT_TRUE(write(*store, clock_, Change(record_of(Kind::kAccepted, "m", 1))).has_value());
  EXPECT_EQ(keeper.keep()->made_again.size(), 1U);
  EXPECT_EQ(heads_of(heads_).size(), 3U);
}

TEST_F(KeptHeads, TheFirstHeadOfAllIsMissedNowhere) {
  const auto store = store_of("a", {"k"});
  const std::string away = folder_.file("away/heads");
  HeadKeeper keeper(*store, clock_, HeadSigner(kSecret), {heads_, {folder_.file("anchor"), away}});
  EXPECT_EQ(keeper.keep()->made_again, std::vector<std::string>());
  EXPECT_EQ(heads_of(folder_.file("anchor")).size(), 1U);
  // An anchor whose machine comes later never had any.
  std::filesystem::create_directory(folder_.file("away"));
  ASSERT_TRUE(write(*store, clock_, Change(record_of(Kind::kAccepted, "l", 1))).has_value());
  EXPECT_EQ(keeper.keep()->made_again, std::vector<std::string>());
  EXPECT_EQ(heads_of(away).size(), 2U);
  std::filesystem::remove(away);
  ASSERT_TRUE(write(*store, clock_, Change(record_of(Kind::kAccepted, "m", 1))).has_value());
  EXPECT_EQ(keeper.keep()->made_again.size(), 1U) << "what it had is missed";
}

// The key is there, and nothing was signed with it yet.
TEST_F(KeptHeads, AFirstStartThatWasKilledMissesNoHeads) {
  const auto store = store_of("a", {});
  const auto made_again = [&](Kind kind) {
    EXPECT_TRUE(write(*store, clock_, Change(record_of(kind, "", 0))).has_value());
    std::filesystem::remove(heads_);
    HeadKeeper keeper(*store, clock_, HeadSigner(kSecret), {heads_, {}, true});
    return keeper.keep()->made_again.size();
  };
  EXPECT_EQ(made_again(Kind::kStarted), 0U);
  EXPECT_EQ(made_again(Kind::kStarted), 0U) << "the second, which signs";
  EXPECT_EQ(made_again(Kind::kStopped), 1U) << "an engine that ended has signed";
}

TEST_F(KeptHeads, AFileThatCannotBeWrittenIsNamedAndCatchesUp) {
  const auto store = store_of("a", {"k"});
  const std::string away = folder_.file("away/heads");
  HeadKeeper keeper(*store, clock_, HeadSigner(kSecret), {heads_, {away}});
  for (int again = 0; again < 2; ++again) {
    const auto kept = keeper.keep();
    ASSERT_TRUE(kept.has_value());
    ASSERT_EQ(kept->unwritten.size(), 1U);
    EXPECT_NE(kept->unwritten[0].find("No such file or directory (" + away), std::string::npos);
  }
  EXPECT_EQ(heads_of(heads_).size(), 1U);
  std::filesystem::create_directory(folder_.file("away"));
  EXPECT_TRUE(keeper.keep()->unwritten.empty());
  EXPECT_EQ(heads_of(away).size(), 1U);
}

TEST_F(KeptHeads, ADamagedRecordIsNamedAndTheRestSigned) {
  { const auto store = store_of("a", {"k", "l", "m"}); }
  sqlite3* raw = nullptr;
  sqlite3_open(folder_.file("a").c_str(), &raw);
  ASSERT_EQ(sqlite3_exec(raw, "UPDATE record SET head = 'x' || head WHERE position = 2", nullptr,
                         nullptr, nullptr),
            SQLITE_OK);
  sqlite3_close(raw);
  const auto store = store_of("a", {});
  HeadKeeper keeper = keeper_of(*store);
  const auto kept = keeper.keep();
  ASSERT_TRUE(kept.has_value());
  EXPECT_EQ(kept->damaged,
            std::vector<std::string>{"the head of record 2 does not hash to its leaf"});
  EXPECT_EQ(kept->head->size, 3U);
  EXPECT_TRUE(keeper.keep()->damaged.empty());
}

}  // namespace
}  // namespace engine::journal

#include "engine/journal/record.h"

#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "engine/journal/search_key.h"
#include "engine/journal/stored.h"

namespace engine::journal {
namespace {

Record full() {
  Record record;
  record.position = 7;
  record.time = "2026-03-02T08:10:00.000Z";
  record.kind = Kind::kHeld;
  record.session = "s";
  record.revision = 2;
  record.target = "main";
  record.patient = "ab";
  record.reason = "check-failed";
  record.why = "as said by the ward: \"ü\"";
  record.status = 422;
  record.attempt = 3;
  record.due_ms = 12;
  record.counted = true;
  record.unknown = true;
  record.still_unknown = true;
  record.revived = 1;
  record.revived_unmade = true;
  record.anew = true;
  return record;
}

TEST(RecordHead, IsReadableText) {
  const auto head = print_head(full(), {to_stored(Part("outcome", "{}"))}, genesis());
  ASSERT_TRUE(head.has_value());
  EXPECT_EQ(*head,
            "chartferry-record 1\nposition 7\ntime 2026-03-02T08:10:00.000Z\nkind held\nsession "
            "s\nrevision 2\ntarget main\npatient ab\nreason check-failed\nwhy as said by the ward: "
            "\"ü\"\nstatus 422\nattempt 3\ndue 12\ncounted yes\nunknown yes\nstill-unknown "
            "yes\nrevived 1\nrevived-unmade yes\nanew yes\npart outcome " +
                base::sha256_hex("{}") + " 2 0\nprevious " + base::to_hex(genesis()) + "\n");
}

TEST(RecordHead, ReadsBackWhatItPrints) {
  const auto text = print_head(full(), {to_stored(Part("outcome", "{}"))}, genesis());
  const auto head = parse_head(*text);
  ASSERT_TRUE(head.has_value()) << head.error().text();
  EXPECT_EQ(*print_head(head->record, {to_stored(Part("outcome", "{}"))}, head->previous), *text);
  EXPECT_EQ(head->parts.at(0).hash, base::sha256("{}"));
}

TEST(RecordHead, RefusesControlCharacters) {
  for (const char* bad : {"two\nlines", "tab\t", "\x7f", "next\u0085line", "line\u2028separator",
                          "paragraph\u2029"}) {
    Record record = full();
    record.why = bad;
    EXPECT_FALSE(print_head(record, {}, genesis()).has_value()) << bad;
  }
}

TEST(RecordHead, MayNotBeLongerThanItsBounds) {
  using base::limits::kHeadListBytesMax;
  using base::limits::kHeadTextBytesMax;
  const struct {
    std::string Record::*member;
    std::size_t most;
  } rows[] = {{&Record::session, kHeadTextBytesMax},   {&Record::target, kHeadTextBytesMax},
              {&Record::actor, kHeadTextBytesMax},     {&Record::why, kHeadTextBytesMax},
              {&Record::made_with, kHeadListBytesMax}, {&Record::targets, kHeadListBytesMax}};
  for (const auto& row : rows) {
    Record record = full();
    record.*row.member = std::string(row.most, 'x');
    EXPECT_TRUE(check_writable(record, {}).has_value());
    record.*row.member += "x";
    EXPECT_EQ(check_writable(record, {}).error().code, base::ErrorCode::kInvalid);
    record.*row.member = "two\nlines";
    EXPECT_EQ(check_writable(record, {}).error().code, base::ErrorCode::kInvalid);
  }
}

TEST(Stored, APartLargerThanIsEverStoredIsNeverWritten) {
  EXPECT_TRUE(check_writable(full(), {to_stored(Part("bundle", "{}"))}).has_value());
  const StoredPart over =
      to_stored(Part("bundle", std::string(base::limits::kStoredBytesMax + 1, ' ')));
  EXPECT_TRUE(over.bytes.empty());
  EXPECT_EQ(check_writable(full(), {over}).error().code, base::ErrorCode::kLimit);
}

TEST(RecordHead, RefusesWhatIsNoHead) {
  const std::string good = *print_head(full(), {to_stored(Part("outcome", "{}"))}, genesis());
  const auto with = [&](const std::string& from, const std::string& to) {
    std::string text = good;
    return text.replace(text.find(from), from.size(), to);
  };
  const std::vector<std::string> table = {
      "",
      "chartferry-record 2\n",
      good.substr(0, good.size() - 1),
      good + "kind held\n",
      with("kind held", "kind hold"),
      with("position 7", "position -7"),
      with("position 7", "position 99999999999999999999"),
      with("revision 2", "revision two"),
      with("counted yes", "counted no"),
      with("part outcome", "part x/../../outcome"),
      with("part outcome", "part .."),
      with("part outcome", "part Outcome"),
      with("previous ", "previous x"),
      with(" 2 0\n", " 2\n"),
      with(" 2 0\n", " 2 0 0\n"),
      with("reason ", "because "),
  };
  for (const std::string& text : table) {
    const auto head = parse_head(text);
    ASSERT_FALSE(head.has_value()) << text;
    EXPECT_EQ(head.error().code, base::ErrorCode::kCorrupt);
  }
}

TEST(Stored, PacksWhatGetsSmallerAndKeepsTheRest) {
  const std::string wide(5000, 'a');
  const StoredPart packed = to_stored(Part("x", wide));
  EXPECT_EQ(packed.codec, kCodecZstd);
  EXPECT_LT(packed.bytes.size(), 100u);
  EXPECT_EQ(*from_stored(packed.codec, packed.bytes), wide);
  const StoredPart plain = to_stored(Part("x", "ab"));
  EXPECT_EQ(plain.codec, kCodecPlain);
  EXPECT_EQ(*from_stored(plain.codec, plain.bytes), "ab");
  EXPECT_EQ(to_stored(Part("x", "")).bytes, "");
}

TEST(Stored, RefusesWhatItDidNotWrite) {
  std::string packed = to_stored(Part("x", std::string(5000, 'a'))).bytes;
  EXPECT_FALSE(from_stored(2, "x").has_value());
  EXPECT_FALSE(from_stored(kCodecZstd, "").has_value());
  EXPECT_FALSE(from_stored(kCodecZstd, "no frame at all").has_value());
  EXPECT_FALSE(from_stored(kCodecZstd, packed.substr(0, packed.size() - 1)).has_value());
}

TEST(SearchKey, IsHmacSha256) {
  // RFC 4231 test case 2.
  EXPECT_EQ(base::to_hex(hmac_sha256("Jefe", "what do ya want for nothing?")),
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843");
  // RFC 4231 test case 6: a key longer than the block.
  EXPECT_EQ(base::to_hex(hmac_sha256(std::string(131, '\xaa'),
                                     "Test Using Larger Than Block-Size Key - Hash Key First")),
            "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54");
  const SearchKey key("secret");
  EXPECT_EQ(key.hide(""), "");
  EXPECT_EQ(key.hide("a").size(), 32u);
  EXPECT_NE(key.hide("a"), key.hide("b"));
  EXPECT_NE(key.hide("a"), SearchKey("other").hide("a"));
}

TEST(SearchKey, DerivesSecretsThatTellNothingOfEachOther) {
  // RFC 5869 test cases 1 and 3, their first 32 bytes.
  std::string salt;
  for (char byte = 0; byte <= 0x0C; ++byte) {
    salt += byte;
  }
  EXPECT_EQ(base::to_hex(hkdf_sha256(std::string(22, '\x0b'), salt,
                                     "\xf0\xf1\xf2\xf3\xf4\xf5\xf6\xf7\xf8\xf9")),
            "3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf");
  EXPECT_EQ(base::to_hex(hkdf_sha256(std::string(22, '\x0b'), "", "")),
            "8da4e775a563c18f715f802a063c5a31b8a11f5c5ee1879ec3454e5f3c738d2d");
  const SearchKey key("secret");
  EXPECT_EQ(key.derive("device", "robin"), key.derive("device", "robin"));
  EXPECT_EQ(key.derive("device", "robin").size(), 64u);
  EXPECT_NE(key.derive("device", "robin"), key.derive("device", "sam"));
  EXPECT_NE(key.derive("device", "robin"), key.derive("devicer", "obin"));
  EXPECT_NE(key.derive("device", "robin"), SearchKey("other").derive("device", "robin"));
  EXPECT_NE(key.derive("device", "").substr(0, 32), key.hide("device"));
}

}  // namespace
}  // namespace engine::journal

// RFC 3629: which byte sequences are UTF-8. The boundaries are those of its section 4.

#include "engine/base/utf8.h"

#include <string>

#include <gtest/gtest.h>

namespace engine::base {
namespace {

TEST(Utf8, TakesEveryBoundaryOfTheGrammar) {
  for (const std::string_view text : {
           std::string_view("", 0),
           std::string_view("\x00", 1),
           std::string_view("\x7F"),
           std::string_view("\xC2\x80"),
           std::string_view("\xDF\xBF"),
           std::string_view("\xE0\xA0\x80"),
           std::string_view("\xEC\xBF\xBF"),
           std::string_view("\xED\x80\x80"),
           std::string_view("\xED\x9F\xBF"),
           std::string_view("\xEE\x80\x80"),
           std::string_view("\xEF\xBF\xBF"),
           std::string_view("\xF0\x90\x80\x80"),
           std::string_view("\xF3\xBF\xBF\xBF"),
           std::string_view("\xF4\x80\x80\x80"),
           std::string_view("\xF4\x8F\xBF\xBF"),
       }) {
    EXPECT_EQ(find_invalid_utf8(text), std::nullopt) << testing::PrintToString(text);
  }
}

TEST(Utf8, RefusesEverySequenceBeyondThem) {
  for (const std::string_view text : {
           std::string_view("\x80"),
           std::string_view("\xBF"),  // continuation alone
           std::string_view("\xC0\x80"),
           std::string_view("\xC1\xBF"),  // overlong two
           std::string_view("\xC2"),
           std::string_view("\xC2\x7F"),
           std::string_view("\xC2\xC0"),
           std::string_view("\xE0\x80\x80"),
           std::string_view("\xE0\x9F\xBF"),  // overlong three
           std::string_view("\xE1\x80"),
           std::string_view("\xE1\x80\x7F"),
           std::string_view("\xE1\x7F\x80"),
           std::string_view("\xED\xA0\x80"),
           std::string_view("\xED\xBF\xBF"),  // surrogates
           std::string_view("\xF0\x80\x80\x80"),
           std::string_view("\xF0\x8F\xBF\xBF"),
           std::string_view("\xF4\x90\x80\x80"),
           std::string_view("\xF5\x80\x80\x80"),
           std::string_view("\xF1\x80\x80"),
           std::string_view("\xF1\x80\x80\x7F"),
           std::string_view("\xF8\x88\x80\x80\x80"),
           std::string_view("\xFE"),
           std::string_view("\xFF"),
       }) {
    EXPECT_EQ(find_invalid_utf8(text), 0U) << testing::PrintToString(text);
  }
}

// The scan takes 32 bytes a step; the fault must be found at every place of a step.
TEST(Utf8, NamesTheOffsetWhereverItIs) {
  for (std::size_t at = 0; at < 100; ++at) {
    std::string text(100, 'a');
    text[at] = '\xFF';
    EXPECT_EQ(find_invalid_utf8(text), at);
    std::string cut(at, 'b');
    cut += "\xE2\x82";
    EXPECT_EQ(find_invalid_utf8(cut), at);
    std::string good(at, 'c');
    good += "\xE2\x82\xAC";
    good.append(40, 'd');
    EXPECT_EQ(find_invalid_utf8(good), std::nullopt);
    good += '\xA0';
    EXPECT_EQ(find_invalid_utf8(good), at + 43);
  }
}

// The mandatory breaks of Unicode Standard Annex 14 (LF, VT, FF, CR, NEL, LS, PS), and the other
// control characters of category Cc.
TEST(Utf8, KnowsWhatIsOneLine) {
  for (const char* good : {"", "a", "Grüße \u00A0\u00FF", "\u2027\u202A", "\u3042"}) {
    EXPECT_TRUE(is_one_line(good)) << good;
  }
  for (const char* bad : {"\n", "a\v", "\f", "\r", "\u0085", "\u2028", "a\u2029b", "\t", "\x7F",
                          "\u0080", "\u009B", "\u009F", "\xC2", "\xE2\x80", "a\xFF"}) {
    EXPECT_FALSE(is_one_line(bad)) << bad;
  }
  EXPECT_FALSE(is_one_line(std::string_view("\0", 1)));
}

TEST(Utf8, CountsScalars) {
  EXPECT_EQ(count_scalars(""), 0U);
  EXPECT_EQ(count_scalars("abc"), 3U);
  EXPECT_EQ(count_scalars("\xC3\xA9\xE2\x82\xAC\xF0\x9F\x98\x80"), 3U);
}

}  // namespace
}  // namespace engine::base

// What a report shows of texts that somebody sent.

#include "engine/cli/report_lines.h"

#include <string>

#include <gtest/gtest.h>

#include "engine/cli/shown_text.h"

namespace engine::cli {
namespace {

TEST(ReportLines, ShowNothingThatSteersATerminal) {
  ReportLines lines(false);
  lines.head({"text", "end"});
  for (const char* text :
       {"plain \xC3\xA9", "c0 \x1B[2J",
        "c1 \xC2\x9B"
        "2J",
        "del \x7F",
        "turned \xE2\x80\xAE"
        "abc\xE2\x80\xAC",
        "set apart \xE2\x81\xA6x\xE2\x81\xA9", "line\xE2\x80\xA8paragraph\xE2\x80\xA9",
        "kept \xC2\xA0\xE2\x80\xA7\xE2\x81\xAA", "cut \xC2"}) {
    lines.row({text, "."});
  }
  ::testing::internal::CaptureStdout();
  lines.flush();
  const std::string out = ::testing::internal::GetCapturedStdout();
  for (const char* shown :
       {"plain \xC3\xA9", "c0  [2J", "c1  2J", "del  ", "turned  abc ", "set apart  x ",
        "line paragraph ", "kept \xC2\xA0\xE2\x80\xA7\xE2\x81\xAA", "cut \xC2"}) {
    EXPECT_NE(out.find(shown), std::string::npos) << shown << " in\n" << out;
  }
  for (const char* steering : {"\x1B", "\xC2\x9B", "\x7F", "\xE2\x80\xAE", "\xE2\x81\xA6"}) {
    EXPECT_EQ(out.find(steering), std::string::npos);
  }
}

TEST(ShownLines, KeepLineFeedsAndTabs) {
  EXPECT_EQ(shown_lines("a\n\tb\r\x1B[2J\xC2\x9B"), "a\n\tb  [2J ");
  EXPECT_EQ(shown_text("a\n\tb"), "a  b");
}

}  // namespace
}  // namespace engine::cli

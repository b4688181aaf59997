#include "engine/replay/entry_texts.h"

#include <string>
#include <utility>

#include <gtest/gtest.h>

#include "engine/replay/replay.h"

namespace engine::replay {
namespace {

using Pair = std::pair<std::string, std::string>;

Pair kept(std::string before, std::string after) {
  keep_entries_that_differ(before, after);
  return {before, after};
}

TEST(EntryTexts, LeavesOutWhatBothHave) {
  EXPECT_EQ(kept(R"({"type":"batch","entry":[{"a":1},{"b":2},{"c":3}]})",
                 R"({"type":"batch","entry":[{"c":3},{"b":4},{"a":1}],"id":"x"})"),
            Pair(R"({"type":"batch","entry":[{"b":2}]})",
                 R"({"type":"batch","entry":[{"b":4}],"id":"x"})"));
  EXPECT_EQ(kept(R"({"entry":[{"a":1}]})", R"({"entry":[{"a":1}]})"),
            Pair(R"({"entry":[]})", R"({"entry":[]})"));
  EXPECT_EQ(kept(R"({"entry":[]})", R"({"entry":[{"a":1}]})"),
            Pair(R"({"entry":[]})", R"({"entry":[{"a":1}]})"));
}

TEST(EntryTexts, FindsTheArrayOfTheBundleItself) {
  // A Bundle in a Bundle, its name in a text, brackets and quotation marks in texts.
  EXPECT_EQ(
      kept(
          R"({"meta":{"entry":[9,8]},"x":["\"entry\":[",1],"entry":[{"t":"]}\"{"},{"entry":[1]},2]})",
          R"({"meta":{"entry":[7]},"entry":[{"t":"]}\"{"},{"entry":[2]},2]})"),
      Pair(R"({"meta":{"entry":[9,8]},"x":["\"entry\":[",1],"entry":[{"entry":[1]}]})",
           R"({"meta":{"entry":[7]},"entry":[{"entry":[2]}]})"));
}

TEST(EntryTexts, LeavesAloneWhatItCannotRead) {
  const std::string good = R"({"entry":[{"a":1}]})";
  for (const char* text : {"", "[]", "{}", R"({"entry":{}})", R"({"entry":[{"a":1})",
                           R"({"entry":[{"a":1}}])", R"({"entry":["a)", R"({"entry": [{"a":1}]})",
                           R"({"a":1"entry":[]})", R"({"a":"\)", R"({"entry":[)"}) {
    EXPECT_EQ(kept(text, good), Pair(text, good));
    EXPECT_EQ(kept(good, text), Pair(good, text));
  }
}

// Whatever differs is told, also what no entry has.
TEST(Differences, AreNeverSilent) {
  const auto kinds = [](const std::string& before, const std::string& after) {
    std::string out;
    for (const Change& change : differences({true, "", before}, {true, "", after})) {
      out += (out.empty() ? "" : "; ") + change.kind;
    }
    return out;
  };
  const std::string two = R"({"type":"batch","entry":[{"fullUrl":"a"},{"fullUrl":"b"}]})";
  EXPECT_EQ(kinds(two, two), "");
  EXPECT_EQ(kinds(two, R"({"type":"batch","entry":[{"fullUrl":"b"},{"fullUrl":"a"}]})"),
            "Bundle: the same, written in another order");
  EXPECT_EQ(kinds(two, R"({"type":"transaction","entry":[{"fullUrl":"a"},{"fullUrl":"b"}]})"),
            "Bundle.type changed");
  EXPECT_EQ(kinds(two, R"({"entry":[{"fullUrl":"a"},{"fullUrl":"b"}],"id":"x"})"),
            "Bundle.type removed; Bundle.id added");
  EXPECT_EQ(
      kinds(two, R"({"type":"batch","entry":[{"fullUrl":"a","request":{}},{"fullUrl":"b"}]})"),
      "entry/request added");
}

}  // namespace
}  // namespace engine::replay

#include "engine/json/skim.h"

#include <string>
#include <string_view>

#include <gtest/gtest.h>

#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::json {
namespace {

// The document written again in compact form by entering all there is.
std::string copied(Skim& skim, std::string_view text) {
  Skim inside = skim;
  if (!inside.enter()) {
    return std::string(skim.take());
  }
  const bool object = text[text.find_first_not_of(" \n\r\t")] == '{';
  skim = inside;
  std::string out = object ? "{" : "[";
  while (skim.next()) {
    out += out.size() > 1 ? "," : "";
    if (object) {
      out += "\"" + std::string(skim.name()) + "\":";
    }
    Skim ahead = skim;
    out += copied(skim, ahead.take());
  }
  return out + (object ? "}" : "]");
}

TEST(Skim, FindsEveryMemberAndItem) {
  for (const char* text : {
           R"({})",
           R"([])",
           R"({"a":1,"b":[true,null,-2.50e10,"x"],"c":{"d":{},"e":[[],[1]]}})",
           R"({"quote \" and slash \\":"a \" b \\","brackets":"}]{[,:","\\":"\\\\\""})",
           R"(["a","b:c",{"":""}])",
           R"({"nested":[{"a":[{"b":["c:\"}"]}]}],"last":0})",
       }) {
    static const NameTable names;
    Document document(names);
    ASSERT_TRUE(document.parse(text).has_value()) << text;
    Skim compact(text);
    EXPECT_EQ(copied(compact, text), text);
    const std::string pretty = to_pretty_text(*document.root());
    Skim loose(pretty);
    EXPECT_EQ(copied(loose, pretty), text) << pretty;
  }
}

TEST(Skim, TakesAWholeValue) {
  Skim skim(R"( {"skipped":{"a":"}"},"wanted" : [1, {"b":2}] ,"number":12})");
  ASSERT_TRUE(skim.enter());
  ASSERT_TRUE(skim.next());
  EXPECT_EQ(skim.take(), R"({"a":"}"})");
  ASSERT_TRUE(skim.next());
  EXPECT_EQ(skim.name(), "wanted");
  EXPECT_EQ(skim.take(), R"([1, {"b":2}])");
  ASSERT_TRUE(skim.next());
  EXPECT_EQ(skim.take(), "12");
  EXPECT_FALSE(skim.next());
}

// Nothing is read beyond the end, and every walk comes to one.
TEST(Skim, EndsWithTheText) {
  const std::string whole = R"({"a":{"b":[1,"c\\"]},"d":"e\"","f":[{}]})";
  for (std::size_t length = 0; length <= whole.size(); ++length) {
    const std::string text = whole.substr(0, length);
    Skim skim(text);
    std::size_t steps = 0;
    if (skim.enter()) {
      while (skim.next() && ++steps < 100) {
        if (skim.take().empty()) {
          break;
        }
      }
    }
    EXPECT_LT(steps, 100u) << text;
  }
}

}  // namespace
}  // namespace engine::json

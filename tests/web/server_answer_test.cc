#include "engine/web/server_answer.h"

#include <gtest/gtest.h>

#include "engine/base/utf8.h"
#include "engine/json/document.h"

namespace engine::web {
namespace {

TEST(ServerAnswer, IsUtf8WhateverTheServerSent) {
  EXPECT_EQ(as_utf8("S\xC3\xA4ttigung"), "S\xC3\xA4ttigung");
  EXPECT_EQ(as_utf8("S\xE4ttigung"), "S\xEF\xBF\xBDttigung");
  EXPECT_EQ(as_utf8("cut \xC3"), "cut \xEF\xBF\xBD");
  EXPECT_EQ(as_utf8(""), "");
}

TEST(ServerAnswer, AnOutcomeStaysAndAllElseIsQuotedInOne) {
  const std::string good =
      R"({"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"value"}]})";
  EXPECT_EQ(as_outcome(good), good);
  const json::NameTable names;
  for (const std::string& other :
       {std::string("<html>S\xE4ttigung</html>"), good.substr(0, 60), std::string("[1,2]"),
        std::string("12"), std::string(R"({"resourceType":"OperationOutcome"})"),
        std::string(R"({"resourceType":"Patient"})"), std::string("a\0\x1B[2J", 6),
        std::string(80'000, '\xE4')}) {
    const std::string text = as_outcome(other);
    json::Document made(names);
    ASSERT_TRUE(made.parse(text)) << text.substr(0, 200);
    EXPECT_EQ(made.root()->string_at("resourceType"), "OperationOutcome");
    EXPECT_FALSE(base::find_invalid_utf8(text).has_value());
    EXPECT_NE(text.find("The record server answered: "), std::string::npos);
    EXPECT_LT(text.size(), 20'000u);
  }
}

}  // namespace
}  // namespace engine::web

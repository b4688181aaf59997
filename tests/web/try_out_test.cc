// Trying changed maps over HTTP: what is taken, what is refused, and that reading is journalled.
#include <string>

#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "tests/web/api_fixture.h"

namespace engine::web {
namespace {

class TryOutTest : public ApiTest {};

TEST_F(TryOutTest, GivesTheFilesInForceByName) {
  EXPECT_EQ(ask("GET", "/mapping/files").body, R"({"set":"a","files":[]})");
  const RawClient::Answer text = ask("GET", "/mapping/files/concepts%2Fa.csv");
  EXPECT_EQ(text.status, 200);
  EXPECT_EQ(text.body, "the text");
  EXPECT_EQ(ask("GET", "/mapping/files/b.map").status, 404);
  EXPECT_EQ(ask("GET", "/mapping/files/concepts/a.csv").status, 404);  // one segment, not two
  EXPECT_EQ(ask("POST", "/mapping/files", "{}").status, 405);
}

TEST_F(TryOutTest, HandsOnADocumentWithTheDigitsOfItsNumbers) {
  const RawClient::Answer answer =
      ask("POST", "/try-out",
          R"({"files":{"a.map":"line 1\nline 2","concepts/b.csv":""},"document":{"flow":2.50}})");
  EXPECT_EQ(answer.status, 200) << answer.body;
  EXPECT_EQ(answer.body, R"({"compiled":true})");
  ASSERT_EQ(tried_.size(), 1u);
  EXPECT_FALSE(tried_[0].traffic);
  ASSERT_EQ(tried_[0].files.size(), 2u);
  EXPECT_EQ(tried_[0].files[0].name, "a.map");
  EXPECT_EQ(tried_[0].files[0].bytes, "line 1\nline 2");
  EXPECT_EQ(tried_[0].document, R"({"flow":2.50})");
  EXPECT_TRUE(reads_noted().empty());  // nobody's record was read
}

TEST_F(TryOutTest, RefusesWhatIsNoWish) {
  for (const char* body : {
           "", "[]", "{}", R"({"files":{}})", R"({"document":[]})",
           R"({"document":{},"session":"a"})",                    // both
           R"({"session":"a","revision":0})",                     // revisions count from 1
           R"({"session":"a","revision":"1"})",                   // a text
           R"({"session":"a","revision":1.5})",                   //
           R"({"session":"a","revision":99999999999999999999})",  //
           R"({"document":{},"files":[]})", R"({"document":{},"files":{"a.map":1}})",
           R"({"document":{},"files":{"a.txt":""}})", R"({"document":{},"files":{"../a.map":""}})",
           R"({"document":{},"files":{"/a.map":""}})", R"({"document":{},"files":{"a b.map":""}})",
           R"({"document":{},"files":{"a//b.map":""}})",
           R"({"document":{},"files":{"a.map":"1","a.map":"2"}})",  // a member twice
       }) {
    EXPECT_EQ(ask("POST", "/try-out", body).status, 400) << body;
  }
  const auto so_many = [](std::size_t count) {
    std::string files;
    for (std::size_t i = 0; i < count; ++i) {
      files += (i == 0 ? "\"f" : ",\"f") + std::to_string(i) + ".map\":\"\"";
    }
    return R"({"document":{},"files":{)" + files + "}}";
  };
  EXPECT_EQ(ask("POST", "/try-out", so_many(base::limits::kTriedFilesMax)).status, 200);
  EXPECT_EQ(ask("POST", "/try-out", so_many(base::limits::kTriedFilesMax + 1)).status, 400);
  const std::string long_name = std::string(197, 'a') + ".map";
  EXPECT_EQ(
      ask("POST", "/try-out", R"({"document":{},"files":{")" + long_name + R"(":""}})").status,
      400);
  EXPECT_EQ(
      ask("POST", "/try-out", R"({"document":{},"files":{")" + long_name.substr(1) + R"(":""}})")
          .status,
      200);
  for (const char* body :
       {R"({"limit":201})", R"({"limit":0})", R"({"limit":-1})", R"({"before":0})",
        R"({"before":"x"})", R"({"since":"yesterday"})", R"({"until":5})"}) {
    EXPECT_EQ(ask("POST", "/try-out/traffic", body).status, 400) << body;
  }
  EXPECT_EQ(tried_.size(), 2u);
}

TEST_F(TryOutTest, HandsOnWhatTrafficToLookAt) {
  EXPECT_EQ(ask("POST", "/try-out/traffic", "{}").status, 200);
  EXPECT_EQ(
      ask("POST", "/try-out/traffic",
          R"({"since":"2027-01-01T00:00:00Z","until":"2027-02-01T01:00:00+01:00","limit":200,)"
          R"("before":77,"values":true})")
          .status,
      200);
  ASSERT_EQ(tried_.size(), 2u);
  EXPECT_TRUE(tried_[0].traffic);
  EXPECT_FALSE(tried_[0].values);
  EXPECT_EQ(tried_[1].since, "2027-01-01T00:00:00.000Z");
  EXPECT_EQ(tried_[1].until, "2027-02-01T00:00:00.000Z");
  EXPECT_EQ(tried_[1].limit, 200u);
  EXPECT_EQ(tried_[1].before, 77u);
  EXPECT_TRUE(tried_[1].values);
}

TEST_F(TryOutTest, JournalsWhoseDocumentsWereRead) {
  try_out_ = TryOutTold{R"({"compiled":true})", {{"s1", 2}, {"s2", 1}}, "mapping=m"};
  EXPECT_EQ(
      ask("POST", "/try-out/traffic", R"({"since":"2027-01-01T00:00:00Z","before":77})").status,
      200);
  auto reads = reads_noted();
  ASSERT_EQ(reads.size(), 3u);
  EXPECT_EQ(reads[0].session, "");
  EXPECT_EQ(reads[0].actor, "address 127.0.0.1");
  EXPECT_EQ(reads[0].why,
            "recorded traffic asked with changed maps, set mapping=m, from "
            "2027-01-01T00:00:00.000Z, before record 77");
  EXPECT_EQ(reads[1].session, "s1");
  EXPECT_EQ(reads[1].revision, 2u);
  EXPECT_EQ(reads[1].why, "differences that changed maps would make");
  EXPECT_EQ(reads[2].session, "s2");
  // Nothing was found, and that is an answer too.
  try_out_ = TryOutTold{R"({"compiled":true})", {}, "mapping=m"};
  EXPECT_EQ(ask("POST", "/try-out/traffic", "{}").status, 200);
  ASSERT_EQ(reads_noted().size(), 4u);
  try_out_ = TryOutTold{R"({"compiled":true})", {{"s3", 1}}};
  EXPECT_EQ(ask("POST", "/try-out", R"({"session":"s3"})").status, 200);
  reads = reads_noted();
  ASSERT_EQ(reads.size(), 5u);
  EXPECT_EQ(reads[4].why, "session tried out with changed maps");
}

TEST_F(TryOutTest, SaysWhyNothingWasTried) {
  try_out_ = base::Error(base::ErrorCode::kNotFound, "there is no such session");
  EXPECT_EQ(ask("POST", "/try-out", R"({"session":"s3"})").status, 404);
  try_out_ = base::Error(base::ErrorCode::kLimit, "others are trying maps out");
  const RawClient::Answer busy = ask("POST", "/try-out", R"({"session":"s3"})");
  EXPECT_EQ(busy.status, 503);
  EXPECT_NE(busy.body.find("others are trying maps out"), std::string::npos);
  EXPECT_NE(busy.head.find("Retry-After"), std::string::npos);
  EXPECT_TRUE(reads_noted().empty());
}

}  // namespace
}  // namespace engine::web

#include "engine/delivery/message.h"

#include <gtest/gtest.h>

namespace engine::delivery {
namespace {

constexpr const char* kBundle =
    R"({"resourceType":"Bundle","type":"transaction","entry":[)"
    R"({"resource":{"resourceType":"Observation","status":"corrected"},"fullUrl":"urn:uuid:a",)"
    R"("request":{"method":"PUT","url":"Observation?identifier=s|a"}},)"
    R"({"resource":{"resourceType":"Observation","derivedFrom":[{"reference":"urn:uuid:a"}]},)"
    R"("fullUrl":"urn:uuid:b","request":{"method":"POST","url":"Observation",)"
    R"("ifNoneExist":"identifier=s|b"}},)"
    R"({"resource":{"resourceType":"Provenance","id":"c","target":[{"reference":"urn:uuid:b"}]},)"
    R"("fullUrl":"urn:uuid:c","request":{"method":"PUT","url":"Provenance/c"}}]})";

KnownVersion version(std::string resource, std::string etag) {
  return {std::move(resource), std::move(etag), false, false, false};
}

// "version Observation/17, create, place Provenance/c"
std::string ways(const Message& message) {
  static constexpr const char* kNames[] = {"plain", "create", "version", "place"};
  std::string out;
  for (const Message::Sent& sent : message.sent) {
    out += (out.empty() ? "" : ", ") + std::to_string(sent.entry) + " " +
           kNames[static_cast<int>(sent.way)];
  }
  return out;
}

TEST(Message, WithNothingKnownAnUpdateCannotOverwrite) {
  const Message message = make_message(kBundle, {}, {});
  EXPECT_EQ(ways(message), "0 create, 1 create, 2 place");
  EXPECT_NE(message.body.find(R"("request":{"method":"POST","url":"Observation",)"
                              R"("ifNoneExist":"identifier=s|a"})"),
            std::string::npos)
      << message.body;
  EXPECT_EQ(message.body.find("urn:uuid:a\",\"request\":{\"method\":\"PUT\""), std::string::npos);
}

// Its resources are not read when nothing is to be changed; what stands in them decides nothing.
TEST(Message, ABundleThatSaysItAllStaysAsItIs) {
  const std::string bundle =
      R"({"resourceType":"Bundle","note":["entry",{"entry":[]}],"entry":[)"
      R"({"resource":{"request":{"method":"PUT","url":"X?y=z"},"text":"\"},{\"fullUrl\":\"no\""},)"
      R"("fullUrl":"urn:uuid:a","request":{"method":"POST","url":"Observation","ifNoneExist":)"
      R"("identifier=s|\"a"}}, {"request":{"method":"PUT","url":"Provenance/c"},"resource":{},)"
      R"("fullUrl":"urn:uuid:c"},{"fullUrl":"urn:uuid:d","resource":{"entry":[{}]}}]})";
  const Message message = make_message(bundle, {}, {});
  EXPECT_EQ(message.body, bundle);
  EXPECT_EQ(ways(message), "0 create, 1 place, 2 plain");
  EXPECT_EQ(message.sent[0].full_url, "urn:uuid:a");
  EXPECT_EQ(message.sent[0].place, "Observation?identifier=s|\"a");
  EXPECT_EQ(message.sent[1].place, "Provenance/c");
}

TEST(Message, AnUpdateOfWhatLandedNamesItsVersion) {
  const Message message =
      make_message(kBundle, {{"urn:uuid:a", version("Observation/17", "W/\"2\"")}}, {});
  EXPECT_EQ(ways(message), "0 version, 1 create, 2 place");
  EXPECT_NE(message.body.find(R"("request":{"method":"PUT","url":"Observation/17",)"
                              R"("ifMatch":"W/\"2\""})"),
            std::string::npos)
      << message.body;
  EXPECT_NE(message.body.find(R"("status":"corrected","id":"17")"), std::string::npos);
  EXPECT_NE(message.body.find(R"("derivedFrom":[{"reference":"Observation/17"}])"),
            std::string::npos);
}

TEST(Message, WhereTheServerNamesNoVersionsTheUpdateStaysASearch) {
  for (const char* resource : {"Observation/17", ""}) {
    const Message message = make_message(kBundle, {{"urn:uuid:a", version(resource, "")}}, {});
    EXPECT_EQ(ways(message), "0 plain, 1 create, 2 place");
    EXPECT_EQ(message.body, kBundle);
  }
}

TEST(Message, WhatAPersonWasShownIsWrittenOverKnowingly) {
  KnownVersion shown = version("Observation/9", "W/\"4\"");
  shown.shown = true;
  Message message = make_message(kBundle, {{"urn:uuid:b", shown}}, {});
  EXPECT_EQ(ways(message), "0 create, 1 version, 2 place");
  EXPECT_NE(message.body.find(R"("request":{"method":"PUT","url":"Observation/9",)"
                              R"("ifMatch":"W/\"4\""})"),
            std::string::npos)
      << message.body;
  shown.etag.clear();
  message = make_message(kBundle, {{"urn:uuid:b", shown}}, {});
  EXPECT_EQ(ways(message), "0 create, 1 version, 2 place");
  EXPECT_EQ(message.body.find("ifMatch"), std::string::npos);
  shown.gone = true;
  message = make_message(kBundle, {{"urn:uuid:b", shown}}, {});
  EXPECT_EQ(ways(message), "0 create, 1 create, 2 place");
}

TEST(Message, WhatIsThereIsLeftOutAndReferredTo) {
  const KnownVersions there = {{"urn:uuid:b", version("Observation/18", "W/\"1\"")}};
  const Message message = make_message(kBundle, {}, there);
  EXPECT_EQ(ways(message), "0 create, 2 place");
  EXPECT_NE(message.body.find(R"("target":[{"reference":"Observation/18"}])"), std::string::npos)
      << message.body;
  const Landing landing = {{"Observation/17", "W/\"5\"", false, 200},
                           {"Provenance/c", "W/\"1\"", false, 201}};
  EXPECT_EQ(to_text(whole_landing(message, landing, kBundle, there)),
            R"([{"location":"Observation/17","etag":"W/\"5\""},)"
            R"({"location":"Observation/18","etag":"W/\"1\""},)"
            R"({"location":"Provenance/c","etag":"W/\"1\""}])");
}

TEST(Message, WhatIsNoBundleStaysAsItIs) {
  for (const char* text : {"", "{", "[]", R"({"resourceType":"Bundle"})", R"({"entry":7})"}) {
    const Message message = make_message(text, {{"urn:uuid:a", version("A/1", "W/\"1\"")}}, {});
    EXPECT_EQ(message.body, text);
    EXPECT_TRUE(message.sent.empty());
  }
}

TEST(Landing, ReadsWhatItPrints) {
  const Landing landing = {{"Observation/1/_history/2", "W/\"2\"", false, 0}, {"", "", true, 0}};
  const auto again = parse_landing(to_text(landing));
  ASSERT_TRUE(again);
  EXPECT_EQ(to_text(*again), to_text(landing));
  EXPECT_TRUE((*again)[1].unproven);
  EXPECT_FALSE(parse_landing("{}"));
  EXPECT_FALSE(parse_landing("[{\"location\":"));
}

}  // namespace
}  // namespace engine::delivery

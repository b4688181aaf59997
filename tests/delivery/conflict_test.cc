#include "engine/delivery/conflict.h"

#include <gtest/gtest.h>

#include "engine/delivery/location.h"

namespace engine::delivery {
namespace {

constexpr const char* kOurs =
    R"({"resourceType":"Observation","meta":{"profile":["p"]},"status":"final",)"
    R"("subject":{"type":"Patient","reference":"Patient?identifier=s|1"},)"
    R"("derivedFrom":[{"reference":"urn:uuid:x"}],"focus":[{"reference":"Device/7"}],)"
    R"("valueQuantity":{"value":88.0,"unit":"%"},"note":[{"text":"effort"}]})";

TEST(Conflict, KnowsOurContentInWhatAServerKept) {
  // FHIR R4: a server sets id, versionId and lastUpdated, may write a narrative, and resolves
  // references in a transaction.
  EXPECT_TRUE(is_as_sent(
      R"({"resourceType":"Observation","id":"17","meta":{"versionId":"1","tag":[{"code":"x"}]},)"
      R"("text":{"status":"generated","div":"<div/>"},"valueQuantity":{"unit":"%","value":88},)"
      R"("status":"final","subject":{"reference":"Patient/3","display":"P"},)"
      R"("note":[{"text":"effort"}],"focus":[{"reference":"http://server.example/Device/7"}],)"
      R"("derivedFrom":[{"reference":"Observation/16"}]})",
      kOurs));
}

TEST(Conflict, KnowsWhoseItIsByWhatASearchForThemFound) {
  std::string theirs = kOurs;
  const std::string search = "Patient?identifier=s|1";
  theirs.replace(theirs.find(search), search.size(), "https://server.example/fhir/Patient/3");
  EXPECT_TRUE(is_as_sent(theirs, kOurs, {{search, "Patient/3"}}));
  EXPECT_FALSE(is_as_sent(theirs, kOurs, {{search, "Patient/4"}})) << "on another chart";
  EXPECT_FALSE(is_as_sent(theirs, kOurs, {{search, ""}})) << "nobody is meant by it";
  EXPECT_TRUE(is_as_sent(theirs, kOurs, {{"Patient?identifier=s|2", "Patient/4"}}));
}

TEST(Conflict, KnowsWhatSomebodyElseWrote) {
  struct Row {
    const char* name;
    const char* from;
    const char* to;
  };
  static constexpr Row kRows[] = {
      {"value", "88.0", "91"},
      {"status", "final", "entered-in-error"},
      {"a note more", R"([{"text":"effort"}])", R"([{"text":"effort"},{"text":"by hand"}])"},
      {"a note less", R"([{"text":"effort"}])", "[]"},
      {"an element more", R"("status")", R"("issued":"2026-03-02T10:00:00Z","status")"},
      {"an element less", R"("status":"final",)", ""},
      {"another device", "Device/7", "Device/8"},
      {"no patient", "Patient?identifier=s|1", "Group/1"},
      {"another kind", "88.0", "\"88.0\""},
      {"another type", "Observation", "Procedure"},
  };
  for (const Row& row : kRows) {
    std::string theirs = kOurs;
    const std::size_t at = theirs.find(row.from);
    ASSERT_NE(at, std::string::npos) << row.name;
    theirs.replace(at, std::string_view(row.from).size(), row.to);
    EXPECT_FALSE(is_as_sent(theirs, kOurs)) << row.name;
  }
  EXPECT_FALSE(is_as_sent("<html>", kOurs));
  EXPECT_FALSE(is_as_sent(kOurs, "{"));
  EXPECT_FALSE(is_as_sent("", ""));
}

TEST(Conflict, ReadsWhatItPrints) {
  const std::vector<Conflict> conflicts = {
      {"urn:uuid:a", "Observation/17", "W/\"2\"", "W/\"3\"", false},
      {"urn:uuid:b", "Observation/18", "", "", true}};
  const std::string text = to_text(conflicts);
  EXPECT_EQ(
      text,
      R"([{"fullUrl":"urn:uuid:a","resource":"Observation/17","expected":"W/\"2\"",)"
      R"("found":"W/\"3\""},{"fullUrl":"urn:uuid:b","resource":"Observation/18","gone":true}])");
  const auto again = parse_conflicts(text);
  ASSERT_TRUE(again);
  EXPECT_EQ(to_text(*again), text);
  EXPECT_FALSE(parse_conflicts("{}"));
  EXPECT_FALSE(parse_conflicts("[{"));
}

TEST(Conflict, SaysWhatAPersonCanDo) {
  for (const bool gone : {false, true}) {
    for (const char* expected : {"", "W/\"2\""}) {
      const std::string text =
          to_sentence({"urn:uuid:a", "Observation/17", expected, "W/\"3\"", gone});
      EXPECT_NE(text.find("Observation/17"), std::string::npos) << text;
      EXPECT_NE(text.find("release"), std::string::npos) << text;
      EXPECT_NE(text.find("withdraw"), std::string::npos) << text;
      EXPECT_EQ(text.find("W/\"3\"") == std::string::npos, gone) << text;
    }
  }
}

TEST(Conflict, VersionsAreTheSameStrongOrWeak) {
  EXPECT_TRUE(same_version("W/\"2\"", "\"2\""));
  EXPECT_FALSE(same_version("W/\"2\"", "W/\"3\""));
}

TEST(Location, NamesResourceAndVersion) {
  struct Row {
    const char* location;
    const char* resource;
    const char* version;
  };
  static constexpr Row kRows[] = {
      {"Observation/17", "Observation/17", ""},
      {"Observation/17/_history/3", "Observation/17", "W/\"3\""},
      {"https://server.example/fhir/Observation/a.b-c/_history/v-2", "Observation/a.b-c",
       "W/\"v-2\""},
      {"/Observation/17", "Observation/17", ""},
      {"", "", ""},
      {"Observation", "", ""},
      {"Observation/", "", ""},
      {"Observation/..", "", ""},
      {"Observation/a b", "", ""},
      {"Observation?identifier=s|a", "", ""},
      {"Observation/17/_history/", "Observation/17", ""},
      {"Observation/17/_history/a\"b", "Observation/17", ""},
  };
  for (const Row& row : kRows) {
    EXPECT_EQ(resource_of(row.location), row.resource) << row.location;
    EXPECT_EQ(version_of(row.location), row.version) << row.location;
  }
}

}  // namespace
}  // namespace engine::delivery

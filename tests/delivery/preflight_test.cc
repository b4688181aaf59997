// What a CapabilityStatement (FHIR R4) is read as; also what is none of it, or lies about its form.

#include "engine/delivery/preflight.h"

#include <string>
#include <string_view>
#include <vector>

#include <gtest/gtest.h>

#include "engine/json/document.h"

namespace engine::delivery {
namespace {

std::vector<Ability> judge(std::string_view text) {
  static const json::NameTable names;
  json::Document document(names);
  EXPECT_TRUE(document.parse(text)) << text;
  return judge_capabilities(*document.root());
}

// Names of the rows of one grade, separated by "; ".
std::string names_of(const std::vector<Ability>& rows, Ability::Grade grade) {
  std::string out;
  for (const Ability& row : rows) {
    EXPECT_EQ(row.consequence.empty(), row.grade == Ability::Grade::kThere) << row.name;
    if (row.grade == grade) {
      out += (out.empty() ? "" : "; ") + row.name;
    }
  }
  return out;
}

std::string resource(const std::string& type, const std::string& more) {
  return R"({"type":")" + type + R"(","searchParam":[{"name":"identifier","type":"token"}])" +
         more + "}";
}

std::string statement(const std::string& version, const std::string& interaction,
                      const std::string& observation) {
  const std::string full =
      R"(,"interaction":[{"code":"create"},{"code":"read"}],"conditionalCreate":true,)"
      R"("conditionalUpdate":true,"versioning":"versioned")";
  return R"({"resourceType":"CapabilityStatement","fhirVersion":")" + version +
         R"(","format":["xml","application/fhir+json"],"rest":[{"mode":"client"},{"mode":"server",)"
         R"("interaction":[{"code":")" +
         interaction + R"("}],"resource":[)" + resource("Observation", observation) + "," +
         resource("Procedure", full) + "," + resource("Communication", full) + "," +
         resource("Patient", "") + "," + resource("Encounter", "") + "," +
         resource("Practitioner", "") + R"(,{"type":"Provenance","updateCreate":true}]}]})";
}

const std::string kFull =
    R"(,"interaction":[{"code":"create"},{"code":"read"}],"conditionalCreate":true,)"
    R"("conditionalUpdate":true,"versioning":"versioned-update")";

TEST(Preflight, FindsNothingWantingInAServerThatHasAll) {
  const auto rows = judge(statement("4.0.1", "transaction", kFull));
  EXPECT_EQ(names_of(rows, Ability::Grade::kNeeded), "");
  EXPECT_EQ(names_of(rows, Ability::Grade::kAbsent), "");
  EXPECT_GT(rows.size(), 20U);
}

TEST(Preflight, TellsWhatIsNeededFromWhatIsMerelyAbsent) {
  auto rows = judge(statement("4.0.1", "batch", kFull));
  EXPECT_EQ(names_of(rows, Ability::Grade::kNeeded), "");
  EXPECT_EQ(names_of(rows, Ability::Grade::kAbsent), "transaction");
  rows = judge(statement("5.0.0", "transaction", kFull));
  EXPECT_EQ(names_of(rows, Ability::Grade::kNeeded), "FHIR R4 (4.0)");
  rows = judge(statement("4.0.1", "transaction",
                         R"(,"interaction":[{"code":"create"}],"conditionalCreate":false,)"
                         R"("conditionalUpdate":true,"versioning":"no-version")"));
  EXPECT_EQ(names_of(rows, Ability::Grade::kNeeded), "Observation: conditional create");
  EXPECT_EQ(names_of(rows, Ability::Grade::kAbsent), "Observation: read; Observation: versions");
  rows = judge(statement("4.0.1", "transaction",
                         R"(,"interaction":[{"code":"read"}],"conditionalCreate":true,)"
                         R"("versioning":"versioned")"));
  EXPECT_EQ(names_of(rows, Ability::Grade::kNeeded), "Observation: create");
  EXPECT_EQ(names_of(rows, Ability::Grade::kAbsent), "Observation: conditional update");
}

TEST(Preflight, TakesNothingForGrantedThatIsNotSaid) {
  for (const char* text :
       {"{}", R"({"rest":{}})", R"({"rest":[]})", R"({"rest":[1,"x",[]]})",
        R"({"fhirVersion":4,"format":"json","rest":[{"mode":"server","resource":{"a":1}}]})",
        R"({"rest":[{"mode":"server","interaction":["transaction"],"resource":[{"type":1}]}]})"}) {
    const auto rows = judge(text);
    EXPECT_EQ(names_of(rows, Ability::Grade::kThere), "") << text;
  }
  // "4.0x" is no version of R4, and "true" no boolean.
  const auto rows =
      judge(statement("4.0x", "transaction",
                      R"(,"interaction":[{"code":"create"}],"conditionalCreate":"true",)"
                      R"("conditionalUpdate":true,"versioning":"versioned")"));
  EXPECT_EQ(names_of(rows, Ability::Grade::kNeeded),
            "FHIR R4 (4.0); Observation: conditional create");
}

TEST(Preflight, ShowsNothingThatSteersATerminal) {
  const auto rows = judge("{\"fhirVersion\":\"\\u001b[2J" + std::string(500, 'x') + "\"}");
  EXPECT_EQ(rows.front().found, "?[2J" + std::string(56, 'x'));
}

TEST(Preflight, JudgesTheSearchAndTheWayThere) {
  EXPECT_EQ(judge_search(200).grade, Ability::Grade::kThere);
  EXPECT_NE(judge_search(401).consequence.find("sign-in is not accepted"), std::string::npos);
  EXPECT_NE(judge_search(403).consequence.find("may not search"), std::string::npos);
  EXPECT_EQ(judge_search(500).grade, Ability::Grade::kNeeded);
  const auto transport = [](std::string_view url) { return judge_transport(*parse_base_url(url)); };
  EXPECT_EQ(transport("https://records.example").grade, Ability::Grade::kThere);
  EXPECT_EQ(transport("http://127.0.0.1:8080/fhir").grade, Ability::Grade::kThere);
  EXPECT_EQ(transport("http://[::1]/fhir").grade, Ability::Grade::kThere);
  EXPECT_EQ(transport("http://records.example").grade, Ability::Grade::kAbsent);
  EXPECT_EQ(transport("http://127.0.0.1.records.example").grade, Ability::Grade::kAbsent);
}

}  // namespace
}  // namespace engine::delivery

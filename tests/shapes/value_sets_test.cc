// Value sets expanded over local code systems (FHIR R4 ValueSet, composition), and membership.

#include <gtest/gtest.h>

#include "engine/shapes/values.h"
#include "tests/shapes/published_facts.h"

namespace engine::shapes {
namespace {

// Colours: warm (red, orange), cold (blue), grey below warm and cold.
constexpr const char* kColours = R"({"resourceType":"CodeSystem","url":"http://x/colours",
  "content":"complete","caseSensitive":true,"concept":[
  {"code":"warm","concept":[{"code":"red","property":[{"code":"wave","valueCode":"long"}]},
    {"code":"orange"}]},
  {"code":"cold","property":[{"code":"child","valueCode":"grey"}],"concept":[{"code":"blue"}]},
  {"code":"grey","property":[{"code":"parent","valueCode":"warm"}]}]})";

std::unique_ptr<Catalog> with_sets(const std::vector<std::pair<std::string, std::string>>& sets,
                                   fhir::Issues* issues = nullptr) {
  std::unique_ptr<Catalog> catalog = std::move(*Catalog::load(std::span<const base::SourceFile>()));
  std::vector<base::SourceFile> files{{"c.json", kColours}};
  for (const auto& [name, compose] : sets) {
    files.push_back({name + ".json", R"({"resourceType":"ValueSet","url":"http://x/)" + name +
                                         R"(","compose":)" + compose + "}"});
  }
  const fhir::Issues found = catalog->add(files);
  if (issues != nullptr) {
    *issues = found;
  } else {
    EXPECT_TRUE(found.empty()) << found.front().text;
  }
  return catalog;
}

std::string members(const ValueSet& set) {
  std::string text;
  for (const char* code : {"warm", "red", "orange", "cold", "blue", "grey", "green"}) {
    const Membership membership = set.contains("http://x/colours", code);
    text += membership == Membership::kIn ? std::string(code) + " " : "";
    text += membership == Membership::kUnknown ? std::string(code) + "? " : "";
  }
  return text;
}

TEST(ValueSets, AreExpandedByTheRulesOfCompose) {
  const struct {
    const char* compose;
    const char* expected;
  } rows[] = {
      {R"({"include":[{"system":"http://x/colours"}]})", "warm red orange cold blue grey "},
      {R"({"include":[{"system":"http://x/colours","concept":[{"code":"red"},{"code":"red"}]}]})",
       "red "},
      {R"({"include":[{"system":"http://x/colours","filter":[{"property":"concept","op":"is-a",
        "value":"warm"}]}]})",
       "warm red orange grey "},
      {R"({"include":[{"system":"http://x/colours","filter":[{"property":"concept",
        "op":"descendent-of","value":"cold"}]}]})",
       "blue grey "},
      {R"({"include":[{"system":"http://x/colours","filter":[{"property":"concept",
        "op":"is-not-a","value":"warm"}]}]})",
       "cold blue "},
      {R"({"include":[{"system":"http://x/colours","filter":[{"property":"concept","op":
        "generalizes","value":"red"}]}]})",
       "warm red "},
      {R"({"include":[{"system":"http://x/colours","filter":[{"property":"wave","op":"=","value":
        "long"}]}]})",
       "red "},
      {R"({"include":[{"system":"http://x/colours","filter":[{"property":"code","op":"regex",
        "value":".*r.*"}]}]})",
       "warm red orange grey "},
      {R"({"include":[{"system":"http://x/colours","filter":[{"property":"code","op":"in","value":
        "red, blue"}]}]})",
       "red blue "},
      {R"({"include":[{"system":"http://x/colours","filter":[{"property":"concept","op":"is-a",
        "value":"warm"},{"property":"concept","op":"is-a","value":"cold"}]}]})",
       "grey "},  // filters of one include are all to be met
      {R"({"include":[{"system":"http://x/colours","concept":[{"code":"red"}]},
        {"system":"http://x/colours","concept":[{"code":"blue"}]}]})",
       "red blue "},
      {R"({"include":[{"system":"http://x/colours"}],"exclude":[{"system":"http://x/colours",
        "filter":[{"property":"concept","op":"is-a","value":"warm"}]}]})",
       "cold blue "},
      {R"({"include":[{"valueSet":["http://x/reds"]}]})", "red "},
      {R"({"include":[{"system":"http://x/colours","valueSet":["http://x/reds"]}]})", "red "},
      {R"({"include":[{"system":"http://x/colours","filter":[{"property":"concept","op":"is-a",
        "value":"cold"}],"valueSet":["http://x/reds"]}]})",
       ""},
      {R"({"include":[{"valueSet":["http://x/reds","http://x/blues"]}]})", ""},
      {R"({"include":[{"valueSet":["http://x/reds"]},{"valueSet":["http://x/blues"]}]})",
       "red blue "},
      // what cannot be told is not guessed
      {R"({"include":[{"valueSet":["http://x/nowhere"]}]})",
       "warm? red? orange? cold? blue? grey? green? "},
      {R"({"include":[{"system":"http://x/colours","concept":[{"code":"red"}]},
        {"valueSet":["http://x/nowhere"]}]})",
       "warm? red orange? cold? blue? grey? green? "},
      {R"({"include":[{"system":"http://x/colours","filter":[{"property":"code","op":"like","value":
        "r"}]}]})",
       "warm? red? orange? cold? blue? grey? green? "},
      {R"({"include":[{"system":"http://snomed.info/sct","filter":[{"property":"concept","op":"is-a",
        "value":"1"}]}]})",
       ""}};
  for (const auto& row : rows) {
    const auto catalog = with_sets(
        {{"s", row.compose},
         {"reds", R"({"include":[{"system":"http://x/colours","concept":[{"code":"red"}]}]})"},
         {"blues", R"({"include":[{"system":"http://x/colours","concept":[{"code":"blue"}]}]})"}});
    const ValueSet* set = catalog->find_value_set("http://x/s");
    ASSERT_NE(set, nullptr) << row.compose;
    EXPECT_EQ(members(*set), row.expected) << row.compose;
    const bool unknown = std::string(row.expected).find('?') != std::string::npos;
    EXPECT_EQ(set->expandable,
              !unknown && std::string(row.compose).find("snomed") == std::string::npos)
        << row.compose;
    EXPECT_EQ(set->why_unknown.empty(), set->expandable);
  }
}

TEST(ValueSets, ThatImportEachOtherInACircleAreSaid) {
  fhir::Issues issues;
  const auto catalog = with_sets({{"a", R"({"include":[{"valueSet":["http://x/b"]}]})"},
                                  {"b", R"({"include":[{"valueSet":["http://x/a"]}]})"}},
                                 &issues);
  ASSERT_FALSE(issues.empty());
  EXPECT_NE(issues[0].text.find("in a circle"), std::string::npos);
  EXPECT_EQ(catalog->find_value_set("http://x/a"), nullptr);
}

TEST(ValueSets, OfASystemWithALineBreakAreRefused) {
  fhir::Issues issues;
  const auto catalog =
      with_sets({{"v", R"({"include":[{"system":"http://x/colours\n  all -"}]})"}}, &issues);
  ASSERT_EQ(issues.size(), 1U);
  EXPECT_NE(issues[0].text.find("compose.include.system is a uri"), std::string::npos);
}

TEST(ValueSets, TellWhatIsInWhatIsOutAndWhatIsUnknown) {
  // FHIR R4 4.0.1: observation-status, observation-category, all-languages, observation-codes.
  const struct {
    const char* set;
    const char* system;
    const char* code;
    Membership expected;
  } rows[] = {
      {"observation-status", "http://hl7.org/fhir/observation-status", "final", Membership::kIn},
      {"observation-status", "http://hl7.org/fhir/observation-status", "Final", Membership::kOut},
      {"observation-status", "http://hl7.org/fhir/event-status", "completed", Membership::kOut},
      {"observation-status", "", "final", Membership::kOut},
      {"observation-category", "http://terminology.hl7.org/CodeSystem/observation-category",
       "vital-signs", Membership::kIn},
      {"all-languages", "urn:ietf:bcp:47", "de-AT", Membership::kUnknown},
      {"observation-codes", "http://loinc.org", "2708-6", Membership::kUnknown},
      {"observation-codes", "http://snomed.info/sct", "1", Membership::kOut}};
  for (const auto& row : rows) {
    const ValueSet* set =
        r4().find_value_set("http://hl7.org/fhir/ValueSet/" + std::string(row.set));
    ASSERT_NE(set, nullptr) << row.set;
    EXPECT_EQ(set->contains(row.system, row.code), row.expected) << row.set << " " << row.code;
  }
}

TEST(CodeSystems, KnowTheirHierarchy) {
  const auto catalog = with_sets({});
  const CodeSystem* colours = catalog->find_code_system("http://x/colours");
  ASSERT_NE(colours, nullptr);
  EXPECT_TRUE(colours->has("red"));
  EXPECT_FALSE(colours->has("green"));
  EXPECT_TRUE(colours->is_below("red", "warm"));
  EXPECT_TRUE(colours->is_below("grey", "warm"));
  EXPECT_TRUE(colours->is_below("grey", "cold"));
  EXPECT_TRUE(colours->is_below("red", "red"));
  EXPECT_FALSE(colours->is_below("warm", "red"));
  EXPECT_FALSE(colours->is_below("green", "green"));
}

}  // namespace
}  // namespace engine::shapes

// Code tables: what CSV and ConceptMap JSON give, and what is refused when they are read.

#include <string>

#include <gtest/gtest.h>

#include "engine/json/document.h"
#include "engine/mapping/concept_map.h"
#include "tests/mapping/bench.h"

namespace engine::mapping::testing {
namespace {

// "system|code|display", or how the translation failed.
std::string translated(const ConceptMap& map, std::string_view system, std::string_view code) {
  const Translation found = map.translate(system, code);
  switch (found.status) {
    case TranslationStatus::kFound:
      return found.provided
                 ? "as it is"
                 : found.target->system + "|" + found.target->code + "|" + found.target->display;
    case TranslationStatus::kNoMatch:
      return "no match";
    case TranslationStatus::kAmbiguous:
      return "several";
    case TranslationStatus::kUnusable:
      return "unusable";
  }
  return {};
}

TEST(Tables, ReadCsvWithQuotedFieldsInAnyOrder) {
  const base::Result<ConceptMap> map = read_concept_csv(
      "\xEF\xBB\xBF# url = http://x/t,,\r\n# source = http://s\r\n"
      "code,source code,target system,display,equivalence\r\n"
      "\"b,\"\"1\",a,http://t,\"two\nlines\",\r\n"
      "\r\n"
      "c,d,http://t,,narrower\r\ne,f,http://t,,wider\r\ng,f,http://t,,equal\r\n",
      "concepts/x.csv");
  ASSERT_TRUE(map) << map.error().text();
  EXPECT_EQ(map->url, "http://x/t");
  EXPECT_EQ(map->row_count(), 4U);
  EXPECT_EQ(translated(*map, "http://s", "a"), "http://t|b,\"1|two\nlines");
  EXPECT_EQ(translated(*map, "", "a"), "http://t|b,\"1|two\nlines");
  EXPECT_EQ(translated(*map, "http://other", "a"), "no match");
  EXPECT_EQ(translated(*map, "", "d"), "unusable");
  EXPECT_EQ(translated(*map, "", "f"), "several");
  EXPECT_EQ(translated(*map, "", "z"), "no match");
}

TEST(Tables, NameThemselvesByTheirFile) {
  const base::Result<ConceptMap> map =
      read_concept_csv("source code,target system,code\na,s,b\n", "concepts/help-level.csv");
  ASSERT_TRUE(map);
  EXPECT_EQ(map->url, "ConceptMap/help-level");
}

TEST(Tables, RefuseWhatIsNoTable) {
  for (const auto& [text, error] :
       {std::pair{"source code,code\n", "the column 'target system' is missing (t.csv:1:1)"},
        std::pair{"source code,target system,cod\n",
                  "there is no column 'cod': source system, source code, target system, code, "
                  "display and "
                  "equivalence are read (t.csv:1:27)"},
        std::pair{
            "source code,target system,code,equivalence\na,s,b,same\n",
            "'same' is no equivalence: relatedto, equivalent, equal, wider, subsumes, narrower, "
            "specializes, inexact, unmatched and disjoint are (t.csv:2:1)"},
        std::pair{"source code,target system,code\n,s,b\n",
                  "the source code is missing (t.csv:2:1)"},
        std::pair{"source code,target system,code\na,s,\n",
                  "the target code is missing (t.csv:2:1)"},
        std::pair{"source code,target system,code\n\"a,s,b\n",
                  "this quoted field has no end (t.csv:2:1)"},
        std::pair{"source code,target system,code\n\"a\"x,s,b\n",
                  "a comma or the line's end is expected after a quoted field (t.csv:2:4)"},
        std::pair{"source code,target system,code\n\xFF,s,b\n", "the text is not UTF-8 (t.csv)"}}) {
    const base::Result<ConceptMap> map = read_concept_csv(text, "t.csv");
    ASSERT_FALSE(map) << text;
    EXPECT_EQ(map.error().text(), error);
  }
}

base::Result<ConceptMap> from_json(const char* text) {
  static json::NameTable names;
  json::Document document(names);
  EXPECT_TRUE(document.parse(text)) << text;
  return read_concept_map(*document.root(), "t.json");
}

TEST(Tables, ReadConceptMapsWithUnmappedCodes) {
  const base::Result<ConceptMap> map = from_json(R"({"resourceType":"ConceptMap","url":"u","group":[
    {"source":"s","target":"t","element":[{"code":"a","target":[{"code":"b","equivalence":"equal"}]},{"code":"n"}],
     "unmapped":{"mode":"provided"}},
    {"source":"q","target":"t","element":[],"unmapped":{"mode":"fixed","code":"x"}}]})");
  ASSERT_TRUE(map) << map.error().text();
  EXPECT_EQ(translated(*map, "s", "a"), "t|b|");
  EXPECT_EQ(translated(*map, "s", "n"), "unusable");
  EXPECT_EQ(translated(*map, "s", "c"), "as it is");
  EXPECT_EQ(translated(*map, "q", "c"), "t|x|");
}

TEST(Tables, RefuseConceptMapsThatSayNothingUsable) {
  EXPECT_EQ(from_json(R"({"url":"u"})").error().text(), "this ConceptMap has no group (t.json )");
  EXPECT_EQ(from_json(R"({"url":"u","group":[{"unmapped":{"mode":"other-map"}}]})").error().text(),
            "unmapped.mode 'provided' and 'fixed' are served, 'other-map' is not: name the other "
            "table in the map "
            "(t.json /group/0/unmapped)");
  EXPECT_EQ(
      from_json(
          R"({"group":[{"element":[{"code":"a","target":[{"code":"b","equivalence":"x"}]}]}]})")
          .error()
          .where,
      "t.json /group/0/element/0/target/0");
}

constexpr const char* kTranslating =
    "group g(source src : Observation, target tgt : Observation) {\n"
    "  src.code as c -> tgt.method = translate(c, 'http://base/ConceptMap/units');\n"
    "  src.status as s -> tgt.status = translate(s, 'http://base/ConceptMap/units', 'code');\n}";

TEST(Tables, TranslateCodingsBySystemThroughAFileOfTheirOwn) {
  Bench bench;
  bench.files = {
      {"m.map", map_text(kTranslating)},
      {"concepts/units.csv",
       "source system,source code,target system,code\nsa,x,t,1\nsb,x,t,2\n,final,t,amended\n"}};
  const char* source = R"({"resourceType":"Observation","status":"final",
    "code":{"coding":[{"system":"sz","code":"x"},{"system":"sb","code":"x"}]}})";
  EXPECT_EQ(
      bench(source).result,
      R"({"resourceType":"Observation","method":{"coding":[{"system":"t","code":"2"}]},"status":"amended"})");
}

TEST(Tables, AnUntranslatedCodeStopsOrIsLeftOutAsAsked) {
  Bench bench;
  bench.files = {{"m.map", map_text(kTranslating)},
                 {"units.csv", "source code,target system,code\nfinal,t,amended\n"}};
  const char* source =
      R"({"resourceType":"Observation","status":"final","code":{"coding":[{"system":"s","code":"x"}]}})";
  EXPECT_EQ(
      bench(source).result,
      "error: the code x of s has no translation in the ConceptMap ConceptMap/units (m.map:8:20)");
  bench.run.stop_at_untranslated = false;
  EXPECT_EQ(bench(source).result, R"({"resourceType":"Observation","status":"amended"})");
}

}  // namespace
}  // namespace engine::mapping::testing

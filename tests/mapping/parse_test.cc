// Mapping language text: what is read, and where reading stops. Grammar: FHIR mapping language, R4,
// R5 and the current build.

#include "engine/mapping/parse.h"

#include <fstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/mapping/structure_map.h"

namespace engine::mapping {
namespace {

// One rule as text, by way of StructureMap JSON, which shows everything that was read.
std::string rule_json(const std::string& rule) {
  const base::Result<Map> map =
      parse_map("map 'u' = m group g(source s : A, target t : B) {\n" + rule + "\n}", "f");
  if (!map) {
    return map.error().text();
  }
  const base::Result<std::string> json = write_structure_map(*map);
  if (!json) {
    return json.error().text();
  }
  const std::size_t begin = json->find("\"rule\":[") + 8;
  return json->substr(begin, json->rfind("]}]}") - begin);
}

struct RuleCase {
  std::string text;
  std::string json;  // the rules of the StructureMap, compact
};

std::vector<RuleCase> rule_cases() {
  std::ifstream file("tests/mapping/data/rules.ndjson");
  std::vector<RuleCase> cases;
  std::string line;
  while (std::getline(file, line)) {
    json::NameTable names;
    json::Document document(names);
    EXPECT_TRUE(document.parse(line)) << line;
    cases.push_back({std::string(document.root()->string_at("rule")),
                     json::to_text(*document.root()->find("json"))});
  }
  EXPECT_FALSE(cases.empty());
  return cases;
}

TEST(Parse, ReadsEveryPartOfARule) {
  for (const RuleCase& row : rule_cases()) {
    EXPECT_EQ("[" + rule_json(row.text) + "]", row.json) << row.text;
  }
}

TEST(Parse, ReadsTheFrameOfEveryDialect) {
  const base::Result<Map> map = parse_map(R"(
/// url = "http://x/m"
/// name = 'm'
/// title = "A title"
/// experimental = true
conceptmap "c" {
  prefix s = "http://s"
  prefix t = "http://t"
  unmapped for s = provided
  s:a-1 == t:"b 2"
  s:c <= t:d
}
uses "http://x/A" alias A as source // what comes
uses "http://x/B" as produced
imports "http://x/*4to5"
let limit = 3 + 4;
group g(source s : A.b.c, target t : B) extends base <<type+>> { }
group h(source s, target t) <<types>> { };
)",
                                          "f.map");
  ASSERT_TRUE(map) << map.error().text();
  EXPECT_EQ(map->url, "http://x/m");
  EXPECT_EQ(map->title, "A title");
  ASSERT_EQ(map->metadata.size(), 1U);
  EXPECT_EQ(map->metadata[0].path, "experimental");
  ASSERT_EQ(map->concept_maps.size(), 1U);
  ASSERT_EQ(map->concept_maps[0].concepts.size(), 2U);
  EXPECT_EQ(map->concept_maps[0].concepts[0].source_code, "a-1");
  EXPECT_EQ(map->concept_maps[0].concepts[0].target_code, "b 2");
  EXPECT_EQ(map->concept_maps[0].concepts[1].equivalence, "wider");
  EXPECT_EQ(map->concept_maps[0].provided_systems, std::vector<std::string>{"http://s"});
  ASSERT_EQ(map->uses.size(), 2U);
  EXPECT_EQ(map->uses[1].mode, UseMode::kProduced);
  EXPECT_EQ(map->imports[0].url, "http://x/*4to5");
  EXPECT_EQ(map->constants[0].value.text, "3 + 4");
  EXPECT_EQ(map->groups[0].inputs[0].type, "A.b.c");
  EXPECT_EQ(map->groups[0].extends, "base");
  EXPECT_EQ(map->groups[0].type_mode, TypeMode::kTypeAndTypes);
  EXPECT_EQ(map->groups[1].type_mode, TypeMode::kTypes);
}

TEST(Parse, ReadsTheOldDeclaration) {
  const base::Result<Map> map =
      parse_map("map \"http://x/m\" = \"A name\"\ngroup g(source s, target t) {}", "f.map");
  ASSERT_TRUE(map) << map.error().text();
  EXPECT_EQ(map->name, "A name");
}

struct Refusal {
  const char* text;
  const char* error;
};

constexpr Refusal kRefusals[] = {
    {"", "the map has no url: begin with  map \"url\" = \"name\"  or  /// url = \"...\" (f:1:1)"},
    {"map 'u' = m", "the map has no group (f:1:12)"},
    {"map 'u' = m\ngroup (source s) {}", "the group's name is expected here, not '(' (f:2:7)"},
    {"map 'u' = m\ngroup g(sauce s) {}",
     "'source' or 'target' is expected here, not 'sauce' (f:2:9)"},
    {"map 'u' = m\ngroup g(source s) <<typ>> {}",
     "'types' or 'type+' is expected here, not 'typ' (f:2:21)"},
    {"map 'u' = m\ngroup g(source s) {\n s.a -> t.b = 'x\n;}",
     "this text has no end: the closing ' is missing (f:3:15)"},
    {"map 'u' = m\ngroup g(source s) { /* }",
     "this comment has no end: write */ where it stops (f:2:21)"},
    {"map 'u' = m\ngroup g(source s) { s.a -> t.b }", "';' is expected here, not '}' (f:2:32)"},
    {"map 'u' = m\ngroup g(source s) { s.a 3..2 -> t.b; }",
     "the upper number of items is smaller than the lower one (f:2:30)"},
    {"map 'u' = m\ngroup g(source s) { s.a where a where b -> t.b; }",
     "this source has a 'where' already (f:2:33)"},
    {"map 'u' = m\ngroup g(source s) { s.a where -> t.b; }",
     "a FHIRPath expression is expected here, not '->' (f:2:31)"},
    {"map 'u' = m\ngroup g(source s) { s.a as v, s.b -> t : c; }",
     "the form  source -> target : a, b;  takes one plain source and one plain target (f:2:40)"},
    {"map 'u' = m\ngroup g(source s) { s.a -> t.b = (x; }",
     "')' is expected here, not '}' (f:2:38)"},
    {"map 'u' = m\nconceptmap 'c' { s:a == t:b }\ngroup g(source s) {}",
     "the prefix 's' has no  prefix s = \"url\"  before it (f:2:18)"},
    {"map 'u' = m\nconceptmap 'c' { prefix s = 'x' prefix s = 'y' s:a == s:b }\ngroup g(source s) {}",
     "the prefix 's' is given twice (f:2:40)"},
    {"map 'u' = m\nconceptmap 'c' { prefix s = 'x' s:a ?? s:b }\ngroup g(source s) {}",
     "a relation is expected here: == <= >= <- >- ~ != or - (f:2:37)"},
    {"map 'u' = m\nimports 'a*b*c'\ngroup g(source s) {}", "an import may hold one '*' (f:3:1)"},
    {"map 'u' = m\nuses 'x' as sink\ngroup g(source s) {}",
     "'source', 'queried', 'target' or 'produced' is expected here, not 'sink' (f:2:13)"},
    {"map 'u' = m\ngroup g(source s) {}\nuses 'x' as source",
     "'group' is expected here, not 'uses' (f:3:1)"},
    {"map 'u' = m\nlet x = ;\ngroup g(source s) {}",
     "the constant's value is expected here, not ';' (f:2:9)"},
    {"map 'u' = m\n\xC3\xA4 group",
     "no statement of the mapping language has this character (f:2:1)"},
    {"map 'u\xFF' = m", "the text is not UTF-8 (f:1:7)"},
};

TEST(Parse, NamesThePlaceAndWhatIsExpected) {
  for (const Refusal& row : kRefusals) {
    const base::Result<Map> map = parse_map(row.text, "f");
    ASSERT_FALSE(map) << row.text;
    EXPECT_EQ(map.error().text(), row.error) << row.text;
  }
}

std::string nested(std::size_t depth) {
  std::string text = "map 'u' = m group g(source s, target t) {";
  for (std::size_t i = 1; i < depth; ++i) {
    text += "s then {";
  }
  for (std::size_t i = 1; i < depth; ++i) {
    text += "};";
  }
  return text + "}";
}

TEST(Parse, BoundsTheNestingOfRules) {
  EXPECT_TRUE(parse_map(nested(base::limits::kMapNestingMax), "f"));
  const base::Result<Map> deeper = parse_map(nested(base::limits::kMapNestingMax + 1), "f");
  ASSERT_FALSE(deeper);
  EXPECT_EQ(deeper.error().code, base::ErrorCode::kLimit);
}

TEST(StructureMap, SurvivesTheWayOutAndBack) {
  for (const RuleCase& row : rule_cases()) {
    const base::Result<Map> map = parse_map(
        "map 'u' = m group g(source s : A, target t : B) extends b <<types>> {" + row.text + "\n}",
        "f");
    if (!map) {
      continue;
    }
    const base::Result<std::string> out = write_structure_map(*map);
    ASSERT_TRUE(out) << out.error().text();
    json::NameTable names;
    json::Document document(names);
    ASSERT_TRUE(document.parse(*out));
    const base::Result<Map> back = read_structure_map(*document.root(), "f");
    ASSERT_TRUE(back) << back.error().text();
    const base::Result<std::string> again = write_structure_map(*back);
    ASSERT_TRUE(again);
    EXPECT_EQ(*again, *out);
  }
}

TEST(StructureMap, SaysOnceThatUnmatchedCodesPass) {
  const base::Result<Map> map = parse_map(
      "map 'u' = m conceptmap 'c' { prefix s = 'x' prefix t = 'y' unmapped for s = provided "
      "s:a == t:b unmapped for s = provided } group g(source s) {}",
      "f");
  ASSERT_TRUE(map) << map.error().text();
  const base::Result<std::string> out = write_structure_map(*map);
  ASSERT_TRUE(out);
  const std::size_t first = out->find("unmapped");
  EXPECT_NE(first, std::string::npos);
  EXPECT_EQ(out->find("unmapped", first + 1), std::string::npos) << *out;
}

TEST(StructureMap, RefusesWhatItCannotSay) {
  for (const auto& [text, error] :
       {std::pair{"map 'u' = m let x = 1; group g(source s) {}",
                  "StructureMap R4 has no constants (f:1:17)"},
        std::pair{"map 'u' = m group g(source s) { s.a.b first; }",
                  "StructureMap cannot say a list mode, a default or a number of items on a path "
                  "of several "
                  "steps: name the steps in rules of their own (f:1:33)"},
        std::pair{"map 'u' = m group g(source s) { s.a default (1 + 1); }",
                  "StructureMap cannot say a computed default (f:1:45)"}}) {
    const base::Result<Map> map = parse_map(text, "f");
    ASSERT_TRUE(map) << map.error().text();
    const base::Result<std::string> out = write_structure_map(*map);
    ASSERT_FALSE(out) << text;
    EXPECT_EQ(out.error().text(), error);
  }
}

TEST(StructureMap, NamesThePointerOfWhatIsWrong) {
  json::NameTable names;
  json::Document document(names);
  for (const auto& [text, error] :
       {std::pair{R"({"url":"u"})", "the map has no group (f )"},
        std::pair{R"({"url":"u","group":[{"rule":[]}]})", "name is missing (f /group/0)"},
        std::pair{R"({"url":"u","group":[{"name":"g","rule":[{"name":"r"}]}]})",
                  "a rule has at least one source (f /group/0/rule/0)"},
        std::pair{R"({"url":"u","group":[7]})", "an object is expected here (f /group/0)"}}) {
    ASSERT_TRUE(document.parse(text));
    const base::Result<Map> map = read_structure_map(*document.root(), "f");
    ASSERT_FALSE(map) << text;
    EXPECT_EQ(map.error().text(), error);
  }
}

}  // namespace
}  // namespace engine::mapping

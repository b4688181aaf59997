// Sets of several maps, what a run tells about itself, functions of the host, and lint.

#include <string>

#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "engine/mapping/lint.h"
#include "tests/mapping/bench.h"

namespace engine::mapping::testing {
namespace {

std::string named(const char* url, const char* body) {
  std::string text = map_text(body);
  return text.replace(text.find("http://example.org/m"), 20, url);
}

constexpr const char* kMain =
    "imports \"http://example.org/lib*\"\n"
    "group g(source src : Patient, target tgt : Patient) { src.name as n -> tgt.name as m then "
    "family(n, m); }";
constexpr const char* kLibrary =
    "group family(source n : HumanName, target m : HumanName) { n.family as f -> m.family = f; }";

TEST(MapSets, ImportByWildcard) {
  Bench bench;
  bench.files = {{"a.map", map_text(kMain)},
                 {"b.map", named("http://example.org/lib-1", kLibrary)}};
  EXPECT_EQ(bench(R"({"resourceType":"Patient","name":[{"family":"x"}]})").result,
            R"({"resourceType":"Patient","name":[{"family":"x"}]})");
}

TEST(MapSets, RefuseAGroupThatTwoImportsHave) {
  Bench bench;
  bench.files = {{"a.map", map_text(kMain)},
                 {"b.map", named("http://example.org/lib-1", kLibrary)},
                 {"c.map", named("http://example.org/lib-2", kLibrary)}};
  EXPECT_EQ(bench("{}").result,
            "error: the group family is in two imported maps: http://example.org/lib-1 and "
            "http://example.org/lib-2 (a.map:8:91)");
}

TEST(MapSets, RefuseAnImportOfNothingAndTheSameMapTwice) {
  Bench bench;
  bench.files = {{"a.map", map_text(kMain)}};
  EXPECT_EQ(bench("{}").result,
            "error: there is no map http://example.org/lib* to import (a.map:7:1)");
  bench.files = {{"a.map", map_text(kLibrary)}, {"b.map", map_text(kLibrary)}};
  EXPECT_EQ(bench("{}").result,
            "error: the map http://example.org/m is defined in a.map already (b.map:1:1)");
}

TEST(MapSets, ReportEveryProblemOnceAndApplyNothing) {
  const std::vector<base::SourceFile> files = {
      {"a.map", map_text("group g(source s : Patient, target t : Patient) {\n s.x -> t.y;\n "
                         "s.gendr -> t.gender;\n}")},
      {"b.map", "map 'b'"}};
  std::vector<base::Error> problems;
  EXPECT_FALSE(MapSet::load(files, catalog(), {}, &problems));
  ASSERT_EQ(problems.size(), 1U);  // a file that cannot be read hides what depends on it
  EXPECT_EQ(problems[0].where, "b.map:1:8");
  problems.clear();
  EXPECT_FALSE(MapSet::load({files.data(), 1}, catalog(), {}, &problems));
  ASSERT_EQ(problems.size(), 3U);
  EXPECT_EQ(problems[2].text(), "Patient has no element gendr; did you mean 'gender'? (a.map:9:4)");
}

TEST(MapSets, ReadAStructureMapLikeAMap) {
  Bench bench;
  bench.files = {
      {"a.json",
       R"({"resourceType":"StructureMap","url":"http://x/m","name":"m","group":[{"name":"g",
    "typeMode":"none","input":[{"name":"s","type":"Patient","mode":"source"},{"name":"t","type":"Patient","mode":"target"}],
    "rule":[{"name":"r","source":[{"context":"s","element":"gender","variable":"v","condition":"$this = 'male'"}],
      "target":[{"context":"t","contextType":"variable","element":"gender","transform":"copy","parameter":[{"valueId":"v"}]}]}]}]})"}};
  EXPECT_EQ(bench(R"({"resourceType":"Patient","gender":"male"})").result,
            R"({"resourceType":"Patient","gender":"male"})");
}

TEST(Lineage, TellsNothingOfWhatItDidNotWrite) {
  const std::string rules = R"({"rules":[["a.map:1","one"]],"inputs":["/a"],"elements":)";
  EXPECT_EQ(*tell_lineage(rules + R"([["/x",0],["/y",0,0]]})"),
            R"([{"output":"/x","rule":"a.map:1","name":"one","inputs":[]},)"
            R"({"output":"/y","rule":"a.map:1","name":"one","inputs":["/a"]}])");
  for (const char* elements :
       {R"([["/x",1]]})", R"([["/x",0,1]]})", R"([["/x"]]})", R"([[]]})", R"([["/x",-1]]})",
        R"([["/x",0.0]]})", R"([["/x","0"]]})", R"([["/x",0,"0"]]})", R"(["/x"]})"}) {
    EXPECT_FALSE(tell_lineage(rules + elements)) << elements;
  }
  EXPECT_FALSE(tell_lineage("not JSON"));
}

TEST(Lineage, NamesTheRuleAndTheInputOfEveryElement) {
  Bench bench;
  bench.files = {{"a.map", map_text(R"(group g(source src : Patient, target tgt : Bundle) {
  src.name as n -> tgt.entry as e, e.resource = create('Patient') as p then {
    n.family as f -> p.name as m last, m.text = append('Dr ', f) "text";
    n where family.exists() -> p.name as m first, m.family = (n.family) "family";
  } "entry";
})")}};
  const Answer answer =
      bench(R"({"resourceType":"Patient","name":[{"use":"usual"},{"family":"x"}]})");
  EXPECT_EQ(answer.result,
            R"({"resourceType":"Bundle","entry":[{"resource":{"resourceType":"Patient"}},)"
            R"({"resource":{"resourceType":"Patient","name":[{"family":"x"},{"text":"Dr x"}]}}]})");
  EXPECT_EQ(
      answer.lineage,
      R"([{"output":"/entry/0","rule":"a.map:8","name":"entry","inputs":["/name/0"]},)"
      R"({"output":"/entry/0/resource","rule":"a.map:8","name":"entry","inputs":["/name/0"]},)"
      R"({"output":"/entry/1","rule":"a.map:8","name":"entry","inputs":["/name/1"]},)"
      R"({"output":"/entry/1/resource","rule":"a.map:8","name":"entry","inputs":["/name/1"]},)"
      R"({"output":"/entry/1/resource/name/0","rule":"a.map:10","name":"family","inputs":["/name/1"]},)"
      R"({"output":"/entry/1/resource/name/0/family","rule":"a.map:10","name":"family","inputs":["/name/1/family"]},)"
      R"({"output":"/entry/1/resource/name/1","rule":"a.map:9","name":"text","inputs":["/name/1/family"]},)"
      R"({"output":"/entry/1/resource/name/1/text","rule":"a.map:9","name":"text","inputs":["/name/1/family"]}])");
}

TEST(Runs, HearWhatLogSays) {
  Bench bench;
  bench.files = {{"a.map", map_text("group g(source src : Patient, target tgt : Patient) {\n"
                                    "  src.name as n log ('name ' & family);\n}")}};
  const Answer answer =
      bench(R"({"resourceType":"Patient","name":[{"family":"x"},{"family":"y"}]})");
  EXPECT_EQ(answer.trace, (std::vector<std::string>{"name x", "name y"}));
}

TEST(Runs, GiveTheSameBytesForTheSameSeed) {
  Bench bench;
  bench.files = {
      {"a.map",
       map_text(
           "group g(source src : Patient, target tgt : Patient) { src -> tgt.id = uuid(); }")}};
  bench.run.uuid_seed = "one";
  const std::string first = bench(R"({"resourceType":"Patient"})").result;
  EXPECT_EQ(bench(R"({"resourceType":"Patient"})").result, first);
  bench.run.uuid_seed = "two";
  EXPECT_NE(bench(R"({"resourceType":"Patient"})").result, first);
}

base::Result<std::optional<std::string>> greet(
    const void* context, std::span<const std::optional<std::string>> arguments) {
  if (!arguments[0]) {
    return std::optional<std::string>();
  }
  if (*arguments[0] == "bad") {
    return base::Error(base::ErrorCode::kInvalid, "nobody is called so");
  }
  return std::optional<std::string>(*static_cast<const std::string*>(context) + *arguments[0]);
}

TEST(Runs, CallTheHostsFunctionsWithItsContext) {
  const std::string hello = "hello ";
  Bench bench;
  bench.files = {
      {"a.map",
       map_text(
           "group g(source src : Patient, target tgt : Patient) {\n"
           "  src.gender as g -> tgt.language = (greet(%g)), tgt.implicitRules = (%site & '/x');\n"
           "  src -> tgt.id = (greet(src.birthDate));\n}")}};
  bench.load.functions = {{"greet", 1, 1, &greet}};
  bench.load.constants = {{"site", "http://site"}};
  bench.run.host_context = &hello;
  EXPECT_EQ(
      bench(R"({"resourceType":"Patient","gender":"male"})").result,
      R"({"resourceType":"Patient","language":"hello male","implicitRules":"http://site/x"})");
  EXPECT_EQ(bench(R"({"resourceType":"Patient","gender":"bad"})").result.substr(0, 40),
            "error: greet(%g): nobody is called so (a");
}

TEST(Runs, StopAtTheLimitOfSteps) {
  // Each level doubles: 2^21 firings pass the bound, with no call deeper than 21.
  std::string text;
  for (int i = 0; i < 22; ++i) {
    const std::string n = std::to_string(i);
    const std::string next = "g" + std::to_string(i + 1) + "(s, t)";
    text += "group g" + n + "(source s : Patient, target t : Patient) { s then " + next +
            "; s then " + next + "; }\n";
  }
  text += "group g22(source s : Patient, target t : Patient) { }";
  const std::string result = run_map(map_text(text), R"({"resourceType":"Patient"})");
  EXPECT_NE(
      result.find("more than " + std::to_string(base::limits::kMapStepsMax) + " rules were run"),
      std::string::npos)
      << result;
}

TEST(Lint, NamesWhatHasNoEffectAndWhatNobodyReads) {
  const std::vector<base::SourceFile> files = {
      {"a.map",
       map_text("uses \"http://example.org/StructureDefinition/Reading\" alias Reading as source\n"
                "group g(source src : Reading, target tgt : Observation) {\n"
                "  src.kind as k where (false) -> tgt.status = k;\n"
                "  src.part as p then { p.label; };\n}\n"
                "group lost(source src : Reading, target tgt : Observation) { }")}};
  const base::Result<std::unique_ptr<MapSet>> maps = MapSet::load(files, catalog());
  ASSERT_TRUE(maps) << maps.error().text();
  std::vector<std::string> found;
  for (const LintFinding& finding : lint(**maps)) {
    found.push_back(finding.place + " " + finding.kind + " " + finding.text);
  }
  EXPECT_EQ(found,
            (std::vector<std::string>{
                "a.map:12:7 unused-group nothing calls the group lost",
                "a.map:9:23 dead-condition the condition (false) says the same about every item",
                "a.map:10:24 idle-rule the rule label makes and checks nothing",
                " unread-field no rule reads Reading.level",
                " unread-field no rule reads Reading.part.size"}));
  EXPECT_EQ(lint(**maps, {.below = "Reading.part", .called = {}, .read = {}}).size(), 4U);
  constexpr std::string_view kCalled[] = {"m#lost"};
  constexpr std::string_view kRead[] = {"Reading.level", "Reading.part"};
  EXPECT_EQ(lint(**maps, {.below = {}, .called = kCalled, .read = kRead}).size(), 2U);
}

}  // namespace
}  // namespace engine::mapping::testing

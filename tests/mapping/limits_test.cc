// The bounds of base/limits.h that hold maps: just below each one a map works, just above it the
// error names the rule, its map and line, the bound, and what to do.

#include "engine/base/limits.h"

#include <algorithm>
#include <string>
#include <string_view>
#include <vector>

#include <gtest/gtest.h>

#include "tests/mapping/bench.h"

namespace engine::mapping::testing {
namespace {

namespace limits = base::limits;

constexpr const char* kPatient = R"({"resourceType":"Patient","gender":"male"})";
constexpr const char* kMade = R"({"resourceType":"Patient","gender":"male"})";
constexpr std::size_t kHeadLines = 6;  // that map_text() puts before the groups

std::string number(std::size_t value) {
  return std::to_string(value);
}

// g0 calls g1 and so on, one a line; the last one writes the gender.
std::string chain(std::size_t calls) {
  std::string text;
  for (std::size_t i = 0; i < calls; ++i) {
    text += "group g" + number(i) + "(source s : Patient, target t : Patient) { s then g" +
            number(i + 1) + "(s, t) \"on\"; }\n";
  }
  return map_text(text + "group g" + number(calls) +
                  "(source s : Patient, target t : Patient) { s.gender -> t.gender; }");
}

TEST(Limits, HoldHowDeepGroupsCallEachOther) {
  EXPECT_EQ(run_map(chain(limits::kMapCallDepthMax), kPatient), kMade);
  const std::string deep = number(limits::kMapCallDepthMax);
  const std::string last = number(limits::kMapCallDepthMax + 1);
  EXPECT_EQ(run_map(chain(limits::kMapCallDepthMax + 1), kPatient),
            "error: groups call each other more than " + deep + " deep, the next being g" + last +
                ", at the rule 'on' of the map http://example.org/m. Is there a loop without end? "
                "Otherwise let fewer groups call each other. (t.map:" +
                number(kHeadLines + limits::kMapCallDepthMax + 1) + ":54)");
}

TEST(Limits, NameTheMapOfTheRuleThatCallsIntoAnother) {
  std::string library = map_text(
      "imports \"http://example.org/m\"\n"
      "group there(source s : Patient, target t : Patient) {\n  s then back(s, t) \"again\";\n}");
  library.replace(library.find("http://example.org/m"), 20, "http://example.org/l");
  Bench bench;
  bench.files = {{"a.map", map_text("imports \"http://example.org/l\"\n"
                                    "group back(source s : Patient, target t : Patient) {\n"
                                    "  s then there(s, t) \"there\";\n}")},
                 {"b.map", library}};
  const std::string result = bench(kPatient).result;
  EXPECT_NE(result.find("the rule 'there' of the map http://example.org/m."), std::string::npos)
      << result;
  EXPECT_NE(result.find("(a.map:9:3)"), std::string::npos) << result;
}

// Groups that call each other, with blocks in one another, so many levels together. The innermost
// rule holds a block of its own, which is empty.
std::string nested(std::size_t levels) {
  constexpr std::size_t kLevelsOfGroup = 27;
  std::string text;
  for (std::size_t i = 0; levels > 0; ++i) {
    const std::size_t own = std::min(levels, kLevelsOfGroup);
    levels -= own;
    text += "group g" + number(i) + "(source s : Patient, target t : Patient) { ";
    for (std::size_t j = 1; j < own; ++j) {
      text += "s then { ";
    }
    text += levels > 0 ? "s then g" + number(i + 1) + "(s, t); " : "s.gender -> t.gender \"end\"; ";
    for (std::size_t j = 1; j < own; ++j) {
      text += "}; ";
    }
    text += "}\n";
  }
  return map_text(text);
}

TEST(Limits, HoldHowManyGroupsAndBlocksAreInOneAnother) {
  static_assert(limits::kMapFramesMax < 27 * limits::kMapCallDepthMax,
                "calls stay below their own");
  EXPECT_EQ(run_map(nested(limits::kMapFramesMax), kPatient), kMade);
  const std::string result = run_map(nested(limits::kMapFramesMax + 1), kPatient);
  EXPECT_EQ(result.substr(0, result.find(" at the rule")),
            "error: more than " + number(limits::kMapFramesMax) +
                " groups and blocks of rules are in one another");
  EXPECT_NE(result.find("of the map http://example.org/m. Is there a loop without end? Otherwise "
                        "nest the rules of the groups less. (t.map:"),
            std::string::npos)
      << result;
}

// A name with so many given names and so many prefixes.
std::string patient(std::size_t given, std::size_t prefixes) {
  const auto list = [](std::size_t count) {
    std::string items;
    for (std::size_t i = 0; i < count; ++i) {
      items += i == 0 ? "\"x\"" : ",\"x\"";
    }
    return "[" + items + "]";
  };
  return R"({"resourceType":"Patient","name":[{"given":)" + list(given) + R"(,"prefix":)" +
         list(prefixes) + "}]}";
}

// How many of those names are in a result.
std::size_t texts(std::string_view result) {
  std::size_t count = 0;
  for (std::size_t at = result.find("\"x\""); at != std::string_view::npos;
       at = result.find("\"x\"", at + 1)) {
    ++count;
  }
  return count;
}

Bench without_lineage(const std::string& groups) {
  Bench bench;
  bench.files = {{"t.map", map_text(groups)}};
  bench.run.with_lineage = false;
  return bench;
}

TEST(Limits, HoldHowManyElementsAreMade) {
  const Bench bench = without_lineage(
      "group g(source s : Patient, target t : Patient) {\n"
      "  s.name as n -> t.name as m then {\n"
      "    n.given as a, n.prefix as b -> m.given = a \"each\";\n  };\n}");
  static_assert(limits::kMapOutputItemsMax == 1000 * 1000);  // the name itself, and 999 * 1001
  const std::string most = bench(patient(999, 1001)).result;
  EXPECT_EQ(texts(most), 999U * 1001U) << most.substr(0, 200);
  EXPECT_EQ(bench(patient(1000, 1000)).result,
            "error: the output has more than 1000000 elements at the rule 'each' of the map "
            "http://example.org/m. Does the rule copy what it makes? Otherwise send a smaller "
            "document. (t.map:9:5)");
}

TEST(Limits, CountWhatACopiedObjectHolds) {
  const Bench bench = without_lineage(
      "group g(source s : Patient, target t : Patient) {\n"
      "  s.name as n, n.given as a -> t.name = n \"copy\";\n}");
  // A name with given names and one prefix: itself, two lists, and their items.
  const std::string most = bench(patient(997, 1)).result;
  EXPECT_EQ(texts(most), 997U * 998U) << most.substr(0, 200);
  const std::string result = bench(patient(1000, 1)).result;
  EXPECT_EQ(result.substr(0, 64),
            "error: the output has more than 1000000 elements at the rule 'co");
}

TEST(Limits, HoldHowMuchIsGoneThroughWithoutAnyRuleFiring) {
  const Bench bench = without_lineage(
      "group g(source s : Patient, target t : Patient) {\n"
      "  s.name as n, n.given as a, n.given as b, n.suffix as c -> t.language = c \"never\";\n"
      "  s.gender -> t.gender;\n}");
  // One name, n given names; for each of them n again; for each pair the suffixes, of which there
  // are none. Finding nothing is counted as one.
  const auto work = [](std::size_t n) { return (1 + 1) + (1 + n) + n * (1 + n) + n * n; };
  constexpr std::size_t kMost = 3161;
  EXPECT_LT(work(kMost), limits::kMapWorkMax - 100);
  EXPECT_GT(work(kMost + 1), limits::kMapWorkMax);
  EXPECT_EQ(bench(patient(kMost, 1)).result, R"({"resourceType":"Patient"})");
  EXPECT_EQ(
      bench(patient(kMost + 1, 1)).result,
      "error: the run has gone through more than 20000000 items at the rule 'never' of "
      "the map http://example.org/m. Do its sources or conditions multiply each other? Narrow them "
      "with a where, or send a smaller document. (t.map:8:3)");
}

TEST(Limits, CountTheStepsOfAllExpressionsTogether) {
  const Bench bench = without_lineage(
      "group g(source s : Patient, target t : Patient) {\n"
      "  s.name as n, n.given as g where (%n.given.where($this = 'y').empty()) -> t.name = n;\n}");
  const std::string result = bench(patient(5000, 1)).result;
  EXPECT_EQ(result.substr(0, 59), "error: the run has gone through more than 20000000 items at");
}

constexpr const char* kTypes[] = {
    "Account",  "Appointment",  "Basic",       "Binary",      "Bundle",  "CarePlan",
    "CareTeam", "Claim",        "Composition", "Condition",   "Consent", "Contract",
    "Coverage", "Device",       "Encounter",   "Endpoint",    "Flag",    "Goal",
    "Group",    "Immunization", "Invoice",     "Library",     "List",    "Location",
    "Media",    "Medication",   "Observation", "Organization"};

// A map with a group `called` that `calls` rules of another group call, each with other types.
std::string with_calls(std::size_t calls, const std::string& called) {
  std::string text = "map \"http://example.org/m\" = m\n";
  std::string inputs;
  for (const char* type : kTypes) {
    text += std::string("uses \"http://hl7.org/fhir/StructureDefinition/") + type + "\" alias " +
            type + " as source\n";
    inputs += (inputs.empty() ? "source in" : ", source in") + std::string(type) + " : " + type;
  }
  text += "group called(source a : Resource, source b : Resource, source c : Resource) {" + called +
          "}\ngroup calls(" + inputs + ") {\n";
  for (const char* a : kTypes) {
    for (const char* b : kTypes) {
      for (const char* c : kTypes) {
        if (calls-- == 0) {
          return text + "}";
        }
        text += std::string("  inBasic then called(in") + a + ", in" + b + ", in" + c + ");\n";
      }
    }
  }
  ADD_FAILURE() << "not so many combinations";
  return text;
}

TEST(Limits, HoldHowManyCombinationsOfTypesAreCompiled) {
  // Both groups have a form for the types that their heads give.
  EXPECT_EQ(load_map(with_calls(limits::kMapInstancesMax - 2, "")), "ok");
  EXPECT_EQ(load_map(with_calls(limits::kMapInstancesMax - 1, "")),
            number(1 + std::size(kTypes) + 2 + limits::kMapInstancesMax - 1) +
                ":16 groups are called with more than " + number(limits::kMapInstancesMax) +
                " combinations of types, the next one that of called of the map "
                "http://example.org/m. Give the inputs of groups types, so that one form serves "
                "all callers, or load fewer maps together.");
}

TEST(Limits, HoldHowManyRulesAreCompiled) {
  // The calls, and the rules of each form of the called group: that of its head, and one for each
  // call.
  constexpr std::size_t kCalls = 408;
  constexpr std::size_t kRules = 488;
  static_assert(kCalls + (kCalls + 1) * kRules == limits::kMapCompiledRulesMax);
  std::string rules;
  for (std::size_t i = 0; i < kRules; ++i) {
    rules += " a;";
  }
  EXPECT_EQ(load_map(with_calls(kCalls, rules)), "ok");
  const std::string refused = load_map(with_calls(kCalls + 1, rules));
  EXPECT_NE(refused.find(" the rules of the set are compiled more than " +
                         number(limits::kMapCompiledRulesMax) + " times"),
            std::string::npos)
      << refused;
  EXPECT_NE(refused.find(" of called of the map http://example.org/m. Give the inputs of groups"),
            std::string::npos)
      << refused;
}

// What is not made at the end must not cost more than what is: these would take minutes if each
// element that goes, or is put first, walked along all the others.
TEST(Limits, AreNotNeededForWhatIsTakenOutOrPutFirst) {
  const Bench empty = without_lineage(
      "group g(source s : Patient, target t : Patient) {\n"
      "  s.name as n, n.given as a, n.prefix as b -> t.contact as c, c.name as d;\n}");
  EXPECT_EQ(empty(patient(600, 600)).result, R"({"resourceType":"Patient"})");
  const Bench first = without_lineage(
      "group g(source s : Patient, target t : Patient) {\n"
      "  s.name as n -> t.name as m then {\n"
      "    n.given as a, n.prefix as b -> m.given = a first;\n"
      "    n.given as a, n.prefix as b -> m.suffix = a as p, p.extension as e;\n  };\n}");
  const std::string made = first(patient(400, 400)).result;
  EXPECT_EQ(texts(made), 2U * 400U * 400U) << made.substr(0, 300);
}

}  // namespace
}  // namespace engine::mapping::testing

// Functions on collections: existence, filtering, subsetting, combining, utilities.
// Source: FHIRPath 2.0.0, chapter 5; sort, coalesce, defineVariable, repeatAll from 3.0.

#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "tests/fhirpath/fixture.h"

namespace engine::fhirpath::testing {
namespace {

TEST(FhirpathFunctions, TestExistence) {
  constexpr Case kCases[] = {
      {"{}.empty()", "true"},
      {"1.empty()", "false"},
      {"{}.exists()", "false"},
      {"(1 | 2).exists($this > 1)", "true"},
      {"(1 | 2).exists($this > 2)", "false"},
      {"(1 | 2).exists({})", "false"},
      {"{}.all($this > 1)", "true"},
      {"(1 | 2).all($this > 0)", "true"},
      {"(1 | 2).all($this > 1)", "false"},
      {"(1 | 2).all({})", "false"},
      {"(true | false).allTrue()", "false"},
      {"true.combine(true).allTrue()", "true"},
      {"{}.allTrue()", "true"},
      {"{}.anyTrue()", "false"},
      {"(true | false).anyTrue()", "true"},
      {"{}.allFalse()", "true"},
      {"(true | false).allFalse()", "false"},
      {"false.anyFalse()", "true"},
      {"{}.anyFalse()", "false"},
      {"{}.subsetOf(1)", "true"},
      {"1.subsetOf({})", "false"},
      {"(1 | 2).subsetOf(3 | 2 | 1)", "true"},
      {"(1 | 4).subsetOf(3 | 2 | 1)", "false"},
      {"{}.supersetOf({})", "true"},
      {"1.supersetOf({})", "true"},
      {"{}.supersetOf(1)", "false"},
      {"(1 | 2 | 3).supersetOf(2)", "true"},
      {"{}.count()", "0"},
      {"1.combine(1).count()", "2"},
      {"1.combine(1).distinct()", "1"},
      {"(1 | 2).isDistinct()", "true"},
      {"1.combine(1.0).isDistinct()", "false"},
      {"{}.isDistinct()", "true"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"(1 | true).allTrue()", "1:12: a collection of booleans is expected"},
      {"'a'.anyFalse()", "a collection of booleans is expected"},
      {"1.exists(1, 2)", "1:3: exists() takes 0 to 1 arguments, not 2"},
      {"1.all()", "1:3: all() takes 1 argument, not 0"},
      {"1.count(2)", "count() takes 0 arguments, not 1"},
      {"(1 | 2).exists(1 | 2)", "one item is expected here, not 2"},
  };
  expect_refusals(kRefusals);
}

TEST(FhirpathFunctions, Filter) {
  constexpr Case kCases[] = {
      {"(1 | 2 | 3).where($this > 1)", "2 | 3"},
      {"(1 | 2 | 3).where({})", "{}"},
      {"(10 | 20 | 30).where($index > 0)", "20 | 30"},
      {"(1 | 2).where('text')", "1 | 2"},
      {"(1 | 2).select($this * 10)", "10 | 20"},
      {"(1 | 2).select($this | 9)", "1 | 9 | 2 | 9"},
      {"(1 | 2).select({})", "{}"},
      {"('a' | 'b').select($this & $index.toString())", "'a0' | 'b1'"},
      {"(1 | 'a' | 2.0).ofType(Integer)", "1"},
      {"(1 | 'a' | 2.0).ofType(System.String)", "'a'"},
      {"(1 | 'a' | 2.0).ofType(Any).count()", "3"},
      {"1.repeat(iif($this < 5, $this + 1, {}))", "2 | 3 | 4 | 5"},
      {"3.repeatAll(iif($this > 0, $this - 1, {}))", "2 | 1 | 0"},
      {"{}.repeat('x')", "{}"},
      {"iif(true, 1, 2)", "1"},
      {"iif(false, 1, 2)", "2"},
      {"iif({}, 1, 2)", "2"},
      {"iif(false, 1)", "{}"},
      {"iif(true, 1, 1 / 0 + 'a')", "1"},
      {"5.iif($this > 3, 'many', 'few')", "'many'"},
      {"coalesce({}, {}, 3, 4)", "3"},
      {"coalesce({}, {})", "{}"},
      {"coalesce(1, 'a' + 1)", "1"},
      {"(3 | 1 | 2).sort()", "1 | 2 | 3"},
      {"(3 | 1 | 2).sort($this desc)", "3 | 2 | 1"},
      {"(3 | 1 | 2).sort(-$this)", "3 | 2 | 1"},
      {"('b' | 'a').sort()", "'a' | 'b'"},
      {"('bb' | 'a' | 'cc').sort($this.length() desc, $this asc)", "'bb' | 'cc' | 'a'"},
      {"(2.5 | 1 | 2).sort()", "1 | 2 | 2.5"},
      {"(1 | 2 | 3).sort(iif($this = 2, {}, $this))", "2 | 1 | 3"},
      {"{}.sort()", "{}"},
      {"(1 | 2 | 3).aggregate($this + $total, 10)", "16"},
      {"(5 | 3 | 9).aggregate(iif($total.empty(), $this, iif($this < $total, $this, $total)))",
       "3"},
      {"(1 | 2).aggregate($total | $index, {})", "0 | 1"},
      {"{}.aggregate($this + $total, 4)", "4"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"(1 | 2).where(1 | 2)", "one item is expected here, not 2"},
      {"iif('text', 1, 2)", "the criterion of iif() is a boolean"},
      {"iif(1 | 2, 1, 2)", "one item is expected here, not 2"},
      {"(1 | 2).iif(true, 1, 2)", "iif() chooses for one item, not for 2"},
      {"iif(true)", "iif() takes 2 to 3 arguments, not 1"},
      {"(1 | 'a').sort()", "values of these types have no order"},
      {"1.ofType(Intger)", "1:10: there is no type 'Intger'; the nearest is 'integer'"},
      {"1.ofType(1)", "a type name is expected"},
      {"$index", "$index has a value only inside"},
      {"$total", "$total has a value only inside aggregate()"},
      {"1.wher(true)", "1:3: there is no function 'wher'; the nearest is 'where'"},
      {"1.frobnicate()", "1:3: there is no function 'frobnicate'"},
  };
  expect_refusals(kRefusals);
}

TEST(FhirpathFunctions, TakeParts) {
  constexpr Case kCases[] = {
      {"(1 | 2 | 3)[0]", "1"},
      {"(1 | 2 | 3)[2]", "3"},
      {"(1 | 2 | 3)[3]", "{}"},
      {"(1 | 2 | 3)[-1]", "{}"},
      {"(1 | 2 | 3)[{}]", "{}"},
      {"1.single()", "1"},
      {"{}.single()", "{}"},
      {"(1 | 2).first()", "1"},
      {"{}.first()", "{}"},
      {"(1 | 2).last()", "2"},
      {"(1 | 2 | 3).tail()", "2 | 3"},
      {"1.tail()", "{}"},
      {"(1 | 2 | 3).skip(1)", "2 | 3"},
      {"(1 | 2 | 3).skip(-1)", "1 | 2 | 3"},
      {"(1 | 2 | 3).skip(9)", "{}"},
      {"(1 | 2 | 3).take(2)", "1 | 2"},
      {"(1 | 2 | 3).take(0)", "{}"},
      {"(1 | 2 | 3).take(-2)", "{}"},
      {"(1 | 2).take({})", "{}"},
      {"(1 | 2 | 2).intersect(2 | 3)", "2"},
      {"1.combine(1).intersect(1)", "1"},
      {"1.combine(1).combine(2).exclude(2)", "1 | 1"},
      {"(1 | 2).exclude({})", "1 | 2"},
      {"(1 | 2).union(2 | 3)", "1 | 2 | 3"},
      {"(1 | 2).combine(2)", "1 | 2 | 2"},
      {"(1 | 2).combine(2, true)", "1 | 2 | 2"},
      {"('a' | 'b').intersect('b' | 'a')", "'a' | 'b'"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"(1 | 2).single()", "single() finds 2 items"},
      {"(1 | 2)['a']", "1:8: an index in brackets is an integer"},
      {"(1 | 2)[1.0]", "an index in brackets is an integer"},
      {"(1 | 2).skip('a')", "the argument must be an integer"},
      {"(1 | 2).take(1 | 2)", "one item is expected here, not 2"},
  };
  expect_refusals(kRefusals);
}

TEST(FhirpathFunctions, DefineVariablesInTheirScope) {
  constexpr Case kCases[] = {
      {"defineVariable('a', 5).select(%a + 1)", "{}"},
      {"1.defineVariable('a', 5).select(%a + 1)", "6"},
      {"(1 | 2).defineVariable('all').select(%all.count())", "2 | 2"},
      {"(1 | 2).select(defineVariable('x', $this * 10).select(%x))", "10 | 20"},
      {"1.defineVariable('x', 1).select(%x) | 1.defineVariable('x', 2).select(%x)", "1 | 2"},
      {"1.defineVariable('x', {}).select(%x.empty())", "true"},
      {"1.defineVariable('x', 2).defineVariable('y', %x + 1).select(%y)", "3"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"%a", "1:1: there is no variable %a"},
      {"1.defineVariable('a', 1).defineVariable('a', 2)", "the variable %a is defined already"},
      {"1.defineVariable('resource', 1)", "the variable %resource is the language's own"},
      {"(1 | 2).select(defineVariable('x')).select(%x)", "the variable %x is not defined here"},
      {"1.defineVariable({})", "defineVariable() needs a name"},
  };
  expect_refusals(kRefusals);
}

class Listening : public Host {
 public:
  void trace(std::string_view name, Items items) const override {
    lines.push_back(std::string(name) + ": " + print(items));
  }
  bool wants_steps() const override { return true; }
  void step(std::string_view part, Items result) const override {
    steps.push_back(std::string(part) + " -> " + print(result));
  }
  mutable std::vector<std::string> lines;
  mutable std::vector<std::string> steps;
};

TEST(FhirpathFunctions, TellTheHostWhatTheyTrace) {
  const Listening host;
  Setting setting;
  setting.host = &host;
  EXPECT_EQ(run("(1 | 2).trace('seen').where($this > 1)", {}, setting), "2");
  EXPECT_EQ(run("(1 | 2).trace('doubled', $this * 2)", {}, setting), "1 | 2");
  const std::vector<std::string> expected = {"seen: 1 | 2", "doubled: 2 | 4"};
  EXPECT_EQ(host.lines, expected);
}

TEST(FhirpathFunctions, TellTheHostTheirSteps) {
  const Listening host;
  Setting setting;
  setting.host = &host;
  EXPECT_EQ(run("(1 + 2).toString() = '3'", {}, setting), "true");
  const std::vector<std::string> expected = {"1 + 2 -> 3", "(1 + 2).toString() -> '3'",
                                             "(1 + 2).toString() = '3' -> true"};
  EXPECT_EQ(host.steps, expected);
}

TEST(FhirpathFunctions, NameTypes) {
  constexpr Case kCases[] = {
      {"1.type().name", "'Integer'"},
      {"1.type().namespace", "'System'"},
      {"1L.type().name", "'Long'"},
      {"1.0.type().name", "'Decimal'"},
      {"'a'.type().name", "'String'"},
      {"true.type()", "System.Boolean"},
      {"@2026.type().name", "'Date'"},
      {"@2026T.type().name", "'DateTime'"},
      {"@T08.type().name", "'Time'"},
      {"1 'mg'.type().name", "'Quantity'"},
      {"(1 | 'a').type().name", "'Integer' | 'String'"},
      {"1 is Integer", "true"},
      {"1 is Decimal", "false"},
      {"1.is(System.Integer)", "true"},
      {"1L is Integer", "false"},
      {"1L is Long", "true"},
      {"'a' is string", "false"},
      {"'a' is String", "true"},
      {"4 'mg' is Quantity", "true"},
      {"4 days is System.Quantity", "true"},
      {"4 'mg' is FHIR.Quantity", "false"},
      {"{} is Integer", "{}"},
      {"1 as Integer", "1"},
      {"1 as String", "{}"},
      {"1.as(Integer)", "1"},
      {"{}.as(Integer)", "{}"},
      {"1 is System.Any", "true"},
  };
  expect_results(kCases);
  constexpr Case kRefusals[] = {
      {"(1 | 2) is Integer", "'is' tests one item, not 2"},
      {"(1 | 2) as Integer", "'as' casts one item, not 2; ofType() filters"},
      {"(1 | 2).as(Integer)", "as() casts one item, not 2"},
      {"(1 | 2).is(Integer)", "is() tests one item, not 2"},
      {"1 is Patiant", "there is no type 'Patiant'; the nearest is 'Patient'"},
      {"1 is System.Patient", "there is no type System.Patient"},
      {"1 is FHIR.Integer", "there is no type 'Integer'"},
  };
  expect_refusals(kRefusals);
}

}  // namespace
}  // namespace engine::fhirpath::testing

// The interface for other parts of the engine: variables, host functions, prefixes, positions,
// bounds of a workspace.

#include <array>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/json/write.h"
#include "tests/fhirpath/fixture.h"

namespace engine::fhirpath::testing {
namespace {

class FhirpathInterface : public ::testing::Test {
 protected:
  FhirpathInterface() : document_(catalog().names()) {
    EXPECT_TRUE(document_.parse(kPatient).has_value());
    focus_ = types().resource(*document_.root());
    context_.focus = {&focus_, 1};
    options_.types = &types();
    options_.context_type = focus_.type;
  }

  std::string evaluate(std::string_view text) {
    const auto expression = compile(text, options_);
    if (!expression) {
      return "error " + expression.error().where + ": " + expression.error().detail;
    }
    const auto result = expression->evaluate(context_, workspace_);
    return result ? print(*result) : "error " + result.error().where + ": " + result.error().detail;
  }

  json::Document document_;
  Workspace workspace_;
  Item focus_;
  Context context_;
  Options options_;
};

TEST_F(FhirpathInterface, ReadsDeclaredVariables) {
  const std::array<VariableDeclaration, 2> declared = {VariableDeclaration{"low", shapes::kNoType},
                                                       VariableDeclaration{"who", focus_.type}};
  options_.variables = declared;
  const Item low = workspace_.make_decimal(base::Decimal(925, -1));
  const std::array<Items, 2> values = {Items(&low, 1), Items(&focus_, 1)};
  context_.variables = values;
  EXPECT_EQ(evaluate("%low + 1"), "93.5");
  EXPECT_EQ(evaluate("%who.gender"), "code female");
  EXPECT_EQ(evaluate("%`low` < 93"), "true");
  EXPECT_EQ(evaluate("%high"), "error 1:1: there is no variable %high");
  context_.variables = {};
  EXPECT_EQ(evaluate("%low.empty()"), "true");
  options_.strict = true;
  EXPECT_EQ(evaluate("%who.gendr"),
            "error 1:6: Patient has no element 'gendr'; the nearest is 'gender'");
}

TEST_F(FhirpathInterface, CallsHostFunctions) {
  std::vector<HostFunction> functions;
  functions.push_back({"idOf", 1, 2,
                       [](Items input, std::span<const Items> arguments,
                          Workspace& workspace) -> base::Result<std::vector<Item>> {
                         std::string text = std::to_string(input.size());
                         for (const Items& argument : arguments) {
                           if (argument.empty()) {
                             return base::Error(base::ErrorCode::kInvalid, "a role is expected");
                           }
                           text += ':' + to_text(argument.front());
                         }
                         return std::vector<Item>{workspace.make_string(text)};
                       }});
  options_.functions = functions;
  EXPECT_EQ(evaluate("name.idOf('role')"), "'2:role'");
  EXPECT_EQ(evaluate("idOf('a', id) & '!'"), "'1:a:p1!'");
  EXPECT_EQ(evaluate("name.select(idOf(use))"), "'1:official' | '1:nickname'");
  EXPECT_EQ(evaluate("idOf({})"), "error 1:1: a role is expected");
  EXPECT_EQ(evaluate("idOf()"), "error 1:1: idOf() takes 1 to 2 arguments, not 0");
}

TEST_F(FhirpathInterface, MayBeEnteredAgainFromTheHost) {
  const auto inner = compile("given.first()", {.types = &types()});
  ASSERT_TRUE(inner.has_value());
  std::vector<HostFunction> functions;
  functions.push_back({"nested", 0, 0,
                       [&inner](Items input, std::span<const Items>,
                                Workspace& workspace) -> base::Result<std::vector<Item>> {
                         const auto result = inner->evaluate({.focus = input.first(1)}, workspace);
                         if (!result) {
                           return result.error();
                         }
                         return std::vector<Item>(result->begin(), result->end());
                       }});
  options_.functions = functions;
  EXPECT_EQ(evaluate("name.select(nested())"), "string Ada | string Addy");
}

TEST_F(FhirpathInterface, RefusesEvaluationsNestedWithoutEnd) {
  std::vector<HostFunction> functions;
  const Expression* outer = nullptr;
  functions.push_back({"again", 0, 0,
                       [&](Items input, std::span<const Items>,
                           Workspace& workspace) -> base::Result<std::vector<Item>> {
                         const auto result = outer->evaluate({.focus = input}, workspace);
                         if (!result) {
                           return result.error();
                         }
                         return std::vector<Item>();
                       }});
  options_.functions = functions;
  const auto expression = compile("again()", options_);
  ASSERT_TRUE(expression.has_value());
  outer = &*expression;
  const auto result = expression->evaluate(context_, workspace_);
  ASSERT_FALSE(result.has_value());
  EXPECT_EQ(result.error().code, base::ErrorCode::kLimit);
}

TEST_F(FhirpathInterface, AnswersAsBoolean) {
  const auto truth = [this](std::string_view text) {
    const auto expression = compile(text, options_);
    const auto result = expression->evaluate_boolean(context_, workspace_);
    return result
               ? (*result == Truth::kTrue ? "true" : (*result == Truth::kFalse ? "false" : "empty"))
               : result.error().detail;
  };
  EXPECT_EQ(truth("active"), "true");
  EXPECT_EQ(truth("deceased"), "false");
  EXPECT_EQ(truth("gender"), "true");
  EXPECT_EQ(truth("photo"), "empty");
  EXPECT_EQ(truth("name"), "one item is expected here, not 2");
}

TEST_F(FhirpathInterface, KnowsItsSurroundings) {
  EXPECT_EQ(evaluate("%context.gender"), "code female");
  EXPECT_EQ(evaluate("name.select(%context.gender).count()"), "2");
  EXPECT_EQ(evaluate("%resource.id"), "String p1");
  const json::Node* contained = document_.root()->find("contained");
  ASSERT_TRUE(contained != nullptr && contained->first != nullptr);
  const Item inner = types().resource(*contained->first);
  context_.focus = {&inner, 1};
  options_.context_type = inner.type;
  EXPECT_EQ(evaluate("%resource.id"), "String org1");
  EXPECT_EQ(evaluate("%rootResource.id"), "String p1");
  context_.resource = focus_;
  EXPECT_EQ(evaluate("%resource.id"), "String p1");
}

TEST_F(FhirpathInterface, NeedsAClockForThePresent) {
  EXPECT_EQ(evaluate("now()"), "error 1:1: the present time is not known here");
  context_.now = kNow;
  EXPECT_EQ(evaluate("now() = now()"), "true");
  EXPECT_EQ(evaluate("today()"), "@2026-03-02");
  EXPECT_EQ(evaluate("timeOfDay()"), "@T08:10:30.250");
}

TEST_F(FhirpathInterface, KeepsResultsUntilReset) {
  const auto expression = compile("name.given", options_);
  const auto first = expression->evaluate(context_, workspace_);
  const auto second = expression->evaluate(context_, workspace_);
  EXPECT_EQ(print(*first), print(*second));
  EXPECT_NE(first->data(), second->data());
  workspace_.reset();
  const auto third = expression->evaluate(context_, workspace_);
  EXPECT_EQ(third->size(), 3U);
}

TEST(FhirpathPrefix, EndsWhereAnotherLanguageGoesOn) {
  struct Row {
    std::string_view text;
    std::string_view expression;
  };
  constexpr Row kRows[] = {
      {"a.b", "a.b"},
      {"a.b -> tgt.c = d", "a.b"},
      {"a - b -> c", "a - b"},
      {"(use = 'official') then copy(a)", "(use = 'official')"},
      {"x = 1 and y, z", "x = 1 and y"},
      {"a.where(b > 1); next", "a.where(b > 1)"},
      {"a) rest", "a"},
      {"a.first() \"name\"", "a.first()"},
      {"value is Quantity log 'x'", "value is Quantity"},
      {"1 week check", "1 week"},
      {"a // comment\n -> b", "a"},
      {"a as b ; c", "a as b"},
      {"a # b", "a"},
      {"a 'text without end", "a"},
  };
  for (const Row& row : kRows) {
    const auto length = parse_prefix(row.text);
    ASSERT_TRUE(length.has_value()) << row.text << ": " << length.error().text();
    EXPECT_EQ(row.text.substr(0, *length), row.expression);
  }
  for (const std::string_view text : {"", "-> a", ", b", "a +", "(a", "'open", "a. -> b"}) {
    EXPECT_FALSE(parse_prefix(text).has_value()) << text;
  }
  EXPECT_EQ(parse_prefix("a + )", {7, 5}).error().where, "7:9");
}

TEST(FhirpathPositions, CountFromTheOrigin) {
  Options options{.types = &types()};
  options.origin = {12, 9};
  EXPECT_EQ(compile("a +", options).error().where, "12:12");
  EXPECT_EQ(compile("a +\n b +", options).error().where, "13:5");
  EXPECT_EQ(compile("'\xC3\xA9' + nope()", options).error().where, "12:15");
}

TEST(FhirpathResults, BecomeJson) {
  json::Document document(catalog().names());
  Workspace workspace;
  const auto json_of = [&](std::string_view text) {
    const auto expression = compile(text, {.types = &types()});
    const auto result = expression->evaluate({}, workspace);
    std::string out;
    for (const Item& item : *result) {
      out += json::to_text(*to_json(item, document));
    }
    return out;
  };
  EXPECT_EQ(json_of("1.50"), "1.50");
  EXPECT_EQ(json_of("true"), "true");
  EXPECT_EQ(json_of("'a'"), "\"a\"");
  EXPECT_EQ(json_of("@2026-03-02T08:10Z"), "\"2026-03-02T08:10Z\"");
  EXPECT_EQ(json_of("2.0 'L/min'"),
            R"({"value":2.0,"unit":"L/min","system":"http://unitsofmeasure.org","code":"L/min"})");
  EXPECT_EQ(json_of("3 days"), R"({"value":3,"unit":"day"})");
}

TEST(FhirpathTree, PrintsHowItWasRead) {
  const auto expression =
      compile("a.b[0].where(c = 'x') | %resource.d.ofType(Quantity)", {.types = &types()});
  EXPECT_EQ(expression->tree(),
            "|\n"
            "  path\n"
            "    .a\n"
            "    .b\n"
            "    []\n"
            "      0\n"
            "    where()\n"
            "      =\n"
            "        .c\n"
            "        'x'\n"
            "  path\n"
            "    %resource\n"
            "    .d\n"
            "    ofType() Quantity\n");
}

}  // namespace
}  // namespace engine::fhirpath::testing

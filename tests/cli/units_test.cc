// chartferry units: the batch contract, what people read, the exit status.

#include <gtest/gtest.h>

#include "tests/cli/program.h"

namespace cli_test {
namespace {

TEST(UnitsBatch, AnswersEveryLineInOrder) {
  struct Case {
    std::string request;
    std::string answer;
  };
  const Case cases[] = {
      {R"({"id":"1","op":"validate","unit":"mm[Hg]"})", R"({"id":"1","valid":true})"},
      {R"({"id":2,"op":"convert","value":"120","from":"mm[Hg]","to":"kPa"})",
       R"({"id":2,"value":15.99864})"},
      {R"({"id":"3","op":"convert","value":37.50,"from":"Cel","to":"[degF]"})",
       R"({"id":"3","value":99.50})"},
      {R"({"id":"4","op":"multiply","v1":"1.5","u1":"g","v2":"2","u2":"m"})",
       R"({"id":"4","value":3.0,"unit":"m.g"})"},
      {R"({"id":"5","op":"divide","v1":1,"u1":"m","v2":4,"u2":"m"})",
       R"({"id":"5","value":0.25,"unit":"1"})"},
      {R"({"id":"6","op":"display","unit":"mL/min"})",
       R"~({"id":"6","display":"(milliliter) / (minute)"})~"},
      {R"({"id":"7","op":"convert","value":"1e60","from":"g","to":"g"})",
       R"({"id":"7","value":1e60})"},
  };
  std::string input;
  for (const Case& c : cases) {
    input += c.request + "\n";
  }
  const Answer answer = run_program({"units", "--batch"}, input);
  EXPECT_EQ(answer.status, 0);
  const std::vector<std::string> lines = lines_of(answer.out);
  ASSERT_EQ(lines.size(), std::size(cases));
  for (std::size_t i = 0; i < lines.size(); ++i) {
    EXPECT_EQ(lines[i], cases[i].answer) << cases[i].request;
  }
}

TEST(UnitsBatch, SaysWhatIsWrongAndGoesOn) {
  const std::string requests[] = {
      R"({"id":"a","op":"validate","unit":"mmHg"})",
      R"({"id":"b","op":"validate","unit":"C"})",
      R"({"id":"c","op":"convert","value":"1","from":"kg","to":"m"})",
      R"({"id":"d","op":"convert","value":"many","from":"kg","to":"g"})",
      R"({"id":"e","op":"convert","from":"kg","to":"g"})",
      R"({"id":"f","op":"guess","unit":"m"})",
      R"({"id":"g"})",
      R"(not json)",
      R"([1])",
      "",
      R"({"id":"h","op":"divide","v1":1,"u1":"m","v2":0,"u2":"s"})",
      R"({"id":{"any":["thing",1.0]},"op":"validate","unit":"m"})",
  };
  const std::string beginnings[] = {
      R"({"id":"a","valid":false,"reason":)",
      R"({"id":"b","valid":true,"means":)",
      R"({"id":"c","error":)",
      R"({"id":"d","error":)",
      R"({"id":"e","error":)",
      R"({"id":"f","error":)",
      R"({"id":"g","error":)",
      R"({"id":null,"error":)",
      R"({"id":null,"error":)",
      R"({"id":"h","error":)",
      R"({"id":{"any":["thing",1.0]},"valid":true})",
  };
  std::string input;
  for (const std::string& request : requests) {
    input += request + "\n";
  }
  input.pop_back();  // the last line has no end
  const Answer answer = run_program({"units", "--batch"}, input);
  EXPECT_EQ(answer.status, 0);
  const std::vector<std::string> lines = lines_of(answer.out);
  ASSERT_EQ(lines.size(), std::size(beginnings));
  for (std::size_t i = 0; i < lines.size(); ++i) {
    EXPECT_TRUE(lines[i].starts_with(beginnings[i])) << lines[i];
  }
  EXPECT_NE(lines[0].find(R"("suggestion":"mm[Hg]")"), std::string::npos) << lines[0];
}

TEST(UnitsBatch, ALineThatIsNestedTooDeepIsAnswered) {
  const Answer answer =
      run_program({"units", "--batch"},
                  std::string(100'000, '[') + "\n" + R"({"id":1,"op":"validate","unit":"m"})");
  const std::vector<std::string> lines = lines_of(answer.out);
  ASSERT_EQ(lines.size(), 2U);
  EXPECT_TRUE(lines[0].starts_with(R"({"id":null,"error":)"));
  EXPECT_EQ(lines[1], R"({"id":1,"valid":true})");
}

TEST(UnitsByHand, PrintAndExit) {
  struct Case {
    std::vector<std::string> arguments;
    int status;
    std::string out;
  };
  const Case cases[] = {
      {{"units", "convert", "-40", "Cel", "[degF]"}, 0, "-40 [degF]\n"},
      {{"units", "convert", "2.5", "L/min", "mL/min"}, 0, "2500 mL/min\n"},
      {{"units", "divide", "1", "m", "-4", "s"}, 0, "-0.25 m.s-1\n"},
      {{"units", "compare", "1", "min", "60", "s"}, 0, "equal\n"},
      {{"units", "compare", "37", "Cel", "98.6", "[degF]"}, 0, "equal\n"},
      {{"units", "canonical", "120", "mm[Hg]"}, 0, "15998640 m-1.s-2.g\n"},
      {{"units", "convert", "1", "kg", "m"}, 1, ""},
      {{"units", "convert", "many", "kg", "g"}, 2, ""},
      {{"units", "convert", "1", "kg"}, 2, ""},
      {{"units", "convert", "1", "mmHg", "kPa"}, 2, ""},
      {{"units", "--ucum", "/nowhere/ucum.xml", "validate", "m"}, 2, ""},
      {{"units", "--no-such-option"}, 2, ""},
      {{"units"}, 2, ""},
  };
  for (const Case& c : cases) {
    const Answer answer = run_program(c.arguments);
    EXPECT_EQ(answer.status, c.status) << c.arguments.back();
    EXPECT_EQ(answer.out, c.out);
  }
}

TEST(UnitsByHand, ValidateSaysNoWhenOneIsWrong) {
  EXPECT_EQ(run_program({"units", "validate", "L/min", "%"}).status, 0);
  const Answer mixed = run_program({"units", "validate", "L/min", "mmHg"});
  EXPECT_EQ(mixed.status, 1);
  EXPECT_NE(mixed.out.find("write mm[Hg]"), std::string::npos) << mixed.out;
  EXPECT_EQ(run_program({"units", "validate"}).status, 2);
}

}  // namespace
}  // namespace cli_test

// chartferry check: arguments, formats, exit status; input and packages that must be refused.

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>

#include <archive.h>
#include <archive_entry.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include "tests/cli/program.h"

namespace cli_test {
namespace {

constexpr std::string_view kRight = R"({"resourceType":"Basic","id":"right","code":{"text":"x"},)"
                                    R"("text":{"status":"generated","div":)"
                                    R"("<div xmlns=\"http://www.w3.org/1999/xhtml\">x</div>"}})";
constexpr std::string_view kWrong =
    R"({"resourceType":"Patient","id":"wrong","gender":"a < b & \"c\""})";

bool holds(std::string_view text, std::string_view part) {
  return text.find(part) != std::string_view::npos;
}

// A folder of the test's own, gone afterwards.
class CheckCommand : public testing::Test {
 protected:
  CheckCommand() {
    std::string name = testing::TempDir() + "check-XXXXXX";
    EXPECT_NE(::mkdtemp(name.data()), nullptr);
    folder_ = name;
  }
  ~CheckCommand() override { std::filesystem::remove_all(folder_); }

  std::string file(const std::string& name, std::string_view bytes) const {
    const std::string path = folder_ + "/" + name;
    std::ofstream(path, std::ios::binary)
        .write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
    return path;
  }

  std::string package(const std::string& name,
                      const std::vector<std::pair<std::string, std::string>>& files) const {
    const std::string path = folder_ + "/" + name;
    archive* const handle = archive_write_new();
    archive_write_add_filter_gzip(handle);
    archive_write_set_format_pax_restricted(handle);
    EXPECT_EQ(archive_write_open_filename(handle, path.c_str()), ARCHIVE_OK);
    for (const auto& [inside, bytes] : files) {
      archive_entry* const entry = archive_entry_new();
      archive_entry_set_pathname(entry, inside.c_str());
      archive_entry_set_filetype(entry, AE_IFREG);
      archive_entry_set_perm(entry, 0644);
      archive_entry_set_size(entry, static_cast<la_int64_t>(bytes.size()));
      archive_write_header(handle, entry);
      archive_write_data(handle, bytes.data(), bytes.size());
      archive_entry_free(entry);
    }
    archive_write_free(handle);
    return path;
  }

  std::string folder_;
};

std::pair<std::string, std::string> manifest() {
  return {"package/package.json",
          R"({"name":"x.example","version":"1.0.0","fhirVersions":["4.0.1"]})"};
}

// A profile of Basic that asks for a subject.
std::pair<std::string, std::string> profile(const std::string& name, const std::string& base,
                                            const std::string& path = "Basic.subject") {
  return {"package/" + name + ".json",
          R"({"resourceType":"StructureDefinition","url":"http://x.example/)" + name +
              R"(","name":"X","status":"draft","kind":"resource","abstract":false,)" +
              R"("type":"Basic","derivation":"constraint","baseDefinition":")" + base +
              R"(","differential":{"element":[{"id":")" + path + R"(","path":")" + path +
              R"(","min":1}]}})"};
}

TEST_F(CheckCommand, SaysByItsExitStatusWhetherResourcesConform) {
  const std::string right = file("right.json", kRight);
  const std::string wrong = file("wrong.json", kWrong);
  const std::string lines = file("both.ndjson", std::string(kRight) + "\n\n" + std::string(kWrong));
  const std::string unnamed = file("both", std::string(kRight) + "\n" + std::string(kWrong) + "\n");
  struct Case {
    std::vector<std::string> arguments;
    int status;
    std::string says;
  };
  const Case cases[] = {
      {{"check", right}, 0, "Basic/right  ok\n1 checked, 0 with errors"},
      {{"check", wrong}, 1, "Patient.gender"},
      {{"check", right, wrong}, 1, "2 checked, 1 with errors"},
      {{"check", lines}, 1, "both.ndjson:3"},
      {{"check", unnamed}, 1, "2 checked, 1 with errors"},
      {{"check", "--ndjson", right}, 0, "1 checked"},
      {{"check", folder_}, 1, "4 checked, 2 with errors"},
      {{"check", "--package", "us-core", right}, 0, "1 checked"},
      {{"check", "--profile", "http://hl7.org/fhir/StructureDefinition/Basic", right}, 0, "ok"},
      {{"check", "--help"}, 0, "--profile"},
      {{"check", folder_ + "/nowhere.json", wrong}, 2, "1 checked, 1 with errors"},
      {{"check", "--profile", "http://x.example/none", right}, 2, ""},
      {{"check", "--package", folder_ + "/none.tgz", right}, 2, ""},
      {{"check", "--package", right, right}, 2, ""},
      {{"check", "--format", "xml", right}, 2, ""},
      {{"check", "--no-such-option", right}, 2, ""},
  };
  for (const Case& c : cases) {
    const Answer answer = run_program(c.arguments);
    EXPECT_EQ(answer.status, c.status) << testing::PrintToString(c.arguments);
    EXPECT_TRUE(c.says.empty() ? answer.out.empty() : holds(answer.out, c.says)) << answer.out;
  }
}

TEST_F(CheckCommand, ReadsStandardInput) {
  EXPECT_EQ(run_program({"check"}, kRight).status, 0);
  EXPECT_EQ(run_program({"check", "-"}, kWrong).status, 1);
  EXPECT_EQ(run_program({"check"}, "").status, 2);
  const Answer lines =
      run_program({"check", "--ndjson", "-"}, std::string(kWrong) + "\n" + std::string(kRight));
  EXPECT_EQ(lines.status, 1);
  EXPECT_TRUE(holds(lines.out, "2 checked, 1 with errors")) << lines.out;
}

TEST_F(CheckCommand, PrintsForPrograms) {
  const std::string lines = file("both.ndjson", std::string(kRight) + "\n" + std::string(kWrong));
  const Answer json = run_program({"check", "--quiet", "--format", "json", lines});
  EXPECT_EQ(json.status, 1);
  const std::vector<std::string> outcomes = lines_of(json.out);
  ASSERT_EQ(outcomes.size(), 2U);
  for (const std::string& outcome : outcomes) {
    EXPECT_TRUE(outcome.starts_with(R"({"resourceType":"OperationOutcome","issue":[{)")) << outcome;
  }
  EXPECT_FALSE(holds(outcomes[0], R"("severity":"error")"));
  EXPECT_TRUE(holds(outcomes[1], R"("severity":"error","code":"code-invalid")")) << outcomes[1];
  EXPECT_TRUE(holds(outcomes[1], R"("expression":["Patient.gender"])")) << outcomes[1];

  const Answer junit = run_program({"check", "--format", "junit", lines});
  EXPECT_EQ(junit.status, 1);
  EXPECT_TRUE(junit.out.starts_with("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites>"));
  EXPECT_TRUE(holds(junit.out, R"(tests="2" failures="1")")) << junit.out;
  EXPECT_TRUE(holds(junit.out, "a &lt; b &amp;")) << junit.out;
  EXPECT_FALSE(holds(junit.out, "a < b")) << junit.out;
}

TEST_F(CheckCommand, AnswersABatchLineByLine) {
  const std::string input = R"({"id":1,"resource":)" + std::string(kRight) + "}\nno json\n" +
                            R"({"id":2})" + "\n" + R"({"id":3,"resource":)" + std::string(kWrong) +
                            "}\n";
  const Answer answer = run_program({"check", "--batch"}, input);
  EXPECT_EQ(answer.status, 0);
  const std::vector<std::string> lines = lines_of(answer.out);
  ASSERT_EQ(lines.size(), 4U);
  EXPECT_TRUE(lines[0].starts_with(R"({"id":1,"outcome":{"resourceType":"OperationOutcome")"));
  EXPECT_TRUE(lines[1].starts_with(R"({"id":null,"error":)")) << lines[1];
  EXPECT_TRUE(lines[2].starts_with(R"({"id":2,"error":)")) << lines[2];
  EXPECT_TRUE(lines[3].starts_with(R"({"id":3,"outcome":)")) << lines[3];
  EXPECT_TRUE(holds(lines[3], R"("severity":"error")")) << lines[3];
}

TEST_F(CheckCommand, RefusesUnreadableFilesPlainlyAndChecksTheOthers) {
  constexpr std::size_t kMany = 10'000;
  const struct {
    const char* name;
    std::string bytes;
    const char* says;
  } cases[] = {
      {"empty", "", "nothing to read"},
      {"nested too deep",
       R"({"resourceType":"Basic","x":)" + std::string(kMany, '[') + std::string(kMany, ']') + "}",
       "nested deeper than"},
      {"nested and never closed", std::string(kMany, '['), "nested deeper than"},
      {"a number of many digits", R"({"resourceType":"Basic","x":)" + std::string(kMany, '9') + "}",
       "a number"},
      {"not UTF-8", "{\"resourceType\":\"Basic\",\"id\":\"\xFF\xFE\"}", "not UTF-8"},
      {"a zero byte", std::string("{\"resourceType\":\0}", 18), "no readable JSON"},
      {"a cut end", R"({"resourceType":"Basic")", "no readable JSON"},
      {"no JSON", "MSH|^~\\&|", "no readable JSON"},
  };
  const std::string right = file("right.json", kRight);
  for (const auto& c : cases) {
    const Answer answer = run_program({"check", file("bad.json", c.bytes), right});
    EXPECT_EQ(answer.status, 2) << c.name;
    EXPECT_TRUE(holds(answer.out, c.says)) << c.name << ": " << answer.out;
    EXPECT_TRUE(holds(answer.out, "2 checked, 1 with errors")) << c.name << ": " << answer.out;
  }
}

TEST_F(CheckCommand, HoldsJsonThatIsNoResourceAgainstTheFile) {
  for (const std::string_view text : {"[]", "null", "1", "{}", R"({"resourceType":"Nothing"})",
                                      R"({"resourceType":["Basic"]})"}) {
    EXPECT_EQ(run_program({"check", file("odd.json", text)}).status, 1) << text;
  }
}

TEST_F(CheckCommand, ShowsNothingThatSteersATerminal) {
  // In an id, in a name, in a code and in a value: as JSON escapes and as bytes.
  const std::string path = file("steer.json",
                                "{\"resourceType\":\"Patient\",\"id\":\"a\\u202eb\","
                                "\"co\\u009b2Jlour\":1,\"gender\":\"\xC2\x9B"
                                "31mmale\xE2\x81\xA6\",\"birthDate\":\"\\u001b[2J\\u007f\"}");
  const Answer answer = run_program({"check", path});
  EXPECT_EQ(answer.status, 1);
  EXPECT_TRUE(holds(answer.out, "co 2Jlour")) << answer.out;
  EXPECT_TRUE(holds(answer.out, " 31mmale ")) << answer.out;
  for (const std::string_view steering :
       {"\x1B", "\xC2\x9B", "\x7F", "\xE2\x80\xAE", "\xE2\x81\xA6"}) {
    EXPECT_FALSE(holds(answer.out, steering)) << answer.out;
  }
}

TEST_F(CheckCommand, RefusesHostilePackagesBeforeItStarts) {
  constexpr std::size_t kBombBytes = std::size_t{32} << 20;
  const std::string packages[] = {
      package("bomb.tgz", {manifest(), {"package/a.json", std::string(kBombBytes, ' ')}}),
      package("up.tgz", {manifest(), {"package/../../up.json", "{}"}}),
      package("root.tgz", {manifest(), {"/up.json", "{}"}}),
      package("bare.tgz", {{"package/a.json", "{}"}}),
  };
  const std::string right = file("right.json", kRight);
  for (const std::string& path : packages) {
    const Answer answer = run_program({"check", "--package", path, right});
    EXPECT_EQ(answer.status, 2) << path;
    EXPECT_EQ(answer.out, "") << path;
  }
  EXPECT_FALSE(std::filesystem::exists(folder_ + "/up.json"));
  EXPECT_FALSE(std::filesystem::exists("/up.json"));
}

TEST_F(CheckCommand, LeavesOutDefinitionsThatCannotBeUsedAndKeepsTheOthers) {
  const std::string basic = "http://hl7.org/fhir/StructureDefinition/Basic";
  const std::string defective = package(
      "defective.tgz",
      {manifest(),
       profile("sound", basic),
       profile("one", "http://x.example/two"),
       profile("two", "http://x.example/one"),
       profile("self", "http://x.example/self"),
       profile("rootless", "http://x.example/nowhere"),
       profile("astray", basic, "Basic.nothing"),
       {"package/torn.json", R"({"resourceType":"StructureDefinition","url":)"},
       {"package/odd.json", R"({"resourceType":"StructureDefinition","url":["x"],"snapshot":7})"}});
  const std::string right = file("right.json", kRight);
  EXPECT_EQ(run_program({"check", "--package", defective, right}).status, 0);
  const auto with = [&](const std::string& name) {
    return run_program(
        {"check", "--package", defective, "--profile", "http://x.example/" + name, right});
  };
  const Answer sound = with("sound");
  EXPECT_EQ(sound.status, 1) << sound.out;  // no subject
  EXPECT_TRUE(holds(sound.out, "http://x.example/sound")) << sound.out;
  for (const char* name : {"one", "two", "self", "rootless", "astray"}) {
    const Answer answer = with(name);
    EXPECT_EQ(answer.status, 2) << name << ": " << answer.out;
    EXPECT_EQ(answer.out, "") << name;
  }
}

// FHIR R4 vital signs: the heart rate profile comes by the LOINC code and slices code.coding.
TEST_F(CheckCommand, ExplainTellsWhichDefinitionSaysWhat) {
  const std::string rate = file("rate.json", R"({"resourceType":"Observation","status":"final",
  "code":{"coding":[{"system":"http://loinc.org","code":"8867-4"}]},
  "valueQuantity":{"value":80,"unit":"/min"}})");
  const Answer whole = run_program({"check", "--explain", "code", rate});
  EXPECT_EQ(whole.status, 0);
  EXPECT_TRUE(holds(whole.out, "Observation.code  (2:10)")) << whole.out;
  EXPECT_TRUE(holds(whole.out, "heartrate, asked for by the LOINC code")) << whole.out;
  EXPECT_TRUE(holds(whole.out, "extensible http://hl7.org/fhir/ValueSet/observation-vitalsign"))
      << whole.out;
  const Answer slice = run_program({"check", "--explain", "code.coding", "--format", "json", rate});
  EXPECT_TRUE(holds(slice.out, R"("element":"Observation.code.coding:HeartRateCode")"))
      << slice.out;
  EXPECT_EQ(run_program({"check", "--explain", "component", rate}).status, 1);
  EXPECT_EQ(run_program({"check", "--explain", "code.", rate}).status, 2);
  EXPECT_EQ(run_program({"check", "--explain", "code", rate, rate}).status, 2);
}

}  // namespace
}  // namespace cli_test

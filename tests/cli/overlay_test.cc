// The national overlay: what the samples become with it, held against R4, the vital signs, US Core
// and our own profiles.

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "tests/cli/program.h"

namespace cli_test {
namespace {

std::string compact(const std::filesystem::path& path) {
  std::ifstream file(path);
  std::stringstream text;
  text << file.rdbuf();
  std::string line = text.str();
  std::replace(line.begin(), line.end(), '\n', ' ');
  return line;
}

std::string samples() {
  std::vector<std::filesystem::path> paths;
  for (const auto& each : std::filesystem::directory_iterator("mappings/samples")) {
    paths.push_back(each.path());
  }
  std::sort(paths.begin(), paths.end());
  std::string lines;
  for (const auto& path : paths) {
    lines += "{\"id\":\"" + path.filename().string() + "\",\"session\":" + compact(path) + "}\n";
  }
  return lines;
}

// The texts of the warnings in an answer.
std::vector<std::string> warnings_of(const std::string& line) {
  std::vector<std::string> texts;
  const std::string mark = R"({"severity":"warning")";
  for (std::size_t at = line.find(mark); at != std::string::npos; at = line.find(mark, at + 1)) {
    const std::size_t from = line.find(R"("text":")", at) + 8;
    std::size_t to = line.find('"', from);
    while (to != std::string::npos && line[to - 1] == '\\') {
      to = line.find('"', to + 1);
    }
    texts.push_back(line.substr(from, to - from));
  }
  return texts;
}

// What US Core's own shape brings about (R4 binds codes and units of a vital sign's components to
// sets without the oxygen that US Core puts there), and what is said of the sample's people.
bool is_expected(const std::string& warning) {
  const bool of_oxygen =
      (warning.find("observation-vitalsignresult") != std::string::npos &&
       (warning.find("3151-8") != std::string::npos ||
        warning.find("3150-0") != std::string::npos)) ||
      (warning.find("ucum-vitals-common") != std::string::npos &&
       (warning.find("L/min") != std::string::npos || warning.find("l/min") != std::string::npos));
  return of_oxygen || warning.find("attest") != std::string::npos;
}

TEST(Overlay, EverySampleConformsToUsCoreToo) {
  for (const char* overlay : {"us-core", "us-core/9.0.0", "us-core/3.1.0"}) {
    const Answer answer = run_program({"session", "--batch", "--overlay", overlay}, samples());
    EXPECT_EQ(answer.status, 0);
    const std::vector<std::string> lines = lines_of(answer.out);
    EXPECT_GT(lines.size(), 20U);
    for (const std::string& line : lines) {
      EXPECT_EQ(line.find(R"("error":)"), std::string::npos) << line.substr(0, 400);
      EXPECT_EQ(line.find(R"("severity":"error")"), std::string::npos) << line;
      for (const std::string& warning : warnings_of(line)) {
        EXPECT_TRUE(is_expected(warning)) << overlay << " " << warning;
      }
    }
  }
}

// US Core pulse oximetry: the flow is a component of the saturation, its unit text fixed by
// version.
TEST(Overlay, TheOxygenIsAComponentOfTheSaturation) {
  struct Case {
    const char* overlay;
    const char* unit;
  };
  for (const Case& one : {Case{"us-core", "L/min"}, Case{"us-core/3.1.0", "l/min"}}) {
    const Answer answer =
        run_program({"session", "--overlay", one.overlay, "mappings/samples/vitals.session.json"});
    EXPECT_NE(answer.out.find("us-core-pulse-oximetry"), std::string::npos);
    EXPECT_EQ(answer.out.find("observation-precondition"), std::string::npos);
    EXPECT_NE(answer.out.find(std::string("\"unit\": \"") + one.unit), std::string::npos);
  }
  const Answer plain = run_program({"session", "mappings/samples/vitals.session.json"});
  EXPECT_EQ(plain.out.find("us-core"), std::string::npos);
}

TEST(Overlay, OneThatIsNotHereIsRefused) {
  EXPECT_EQ(run_program({"session", "--overlay", "elsewhere", "mappings/samples/note.session.json"})
                .status,
            2);
}

// A site's folder of maps that wins over ours, with one place of common.map changed.
class SiteOverlay : public ::testing::Test {
 protected:
  Answer with(const std::string& from, const std::string& to) {
    TearDown();
    std::string name = ::testing::TempDir() + "chartferry-site-XXXXXX";
    folder_ = ::mkdtemp(name.data());
    std::ifstream file("mappings/common.map");
    std::stringstream text;
    text << file.rdbuf();
    std::string map = text.str();
    const std::size_t at = map.find(from);
    EXPECT_NE(at, std::string::npos) << from;
    std::ofstream(folder_ / "common.map") << map.replace(at, from.size(), to);
    return run_program({"session", "--mappings", folder_.string(), "--show", "bundle",
                        "mappings/samples/note.session.json"});
  }
  void TearDown() override {
    std::error_code ignored;
    std::filesystem::remove_all(folder_, ignored);
  }
  std::filesystem::path folder_;
};

TEST_F(SiteOverlay, OneThatBreaksAProfileIsHeldWithThePlaceAndTheValueSet) {
  const Answer answer = with("(iif(%s = 'closed', 'final', 'preliminary'))", "'finished'");
  EXPECT_EQ(answer.status, 1);
  EXPECT_NE(answer.err.find("held: check-failed"), std::string::npos) << answer.err;
  EXPECT_NE(answer.err.find("'finished', which is not in the value set "
                            "http://hl7.org/fhir/ValueSet/observation-status"),
            std::string::npos)
      << answer.err;
}

TEST_F(SiteOverlay, OneThatDoesNotCompileIsRefusedWithItsLine) {
  struct Case {
    const char* from;
    const char* to;
    const char* finding;
  };
  for (const Case& one :
       {Case{"ConceptMap/phase'", "ConceptMap/phas'", "there is no ConceptMap"},
        Case{"p.function = translate(d", "p.funktion = translate(d", "did you mean 'function'"},
        Case{"group ", "grup ", "common.map:"}}) {
    const Answer answer = with(one.from, one.to);
    EXPECT_EQ(answer.status, 2) << one.to;
    EXPECT_EQ(answer.out, "") << one.to;
    EXPECT_NE(answer.err.find(one.finding), std::string::npos) << answer.err;
    EXPECT_NE(answer.err.find("common.map:"), std::string::npos) << answer.err;
  }
}

}  // namespace
}  // namespace cli_test

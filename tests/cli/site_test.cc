// chartferry map test, lint and coverage of a site's directory: its maps, tables and profiles are
// taken as the engine takes them, over what came with the program.

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include <gtest/gtest.h>

#include "tests/cli/program.h"

namespace cli_test {
namespace {

namespace fs = std::filesystem;

// A profile of a site: its notes say how they were taken.
constexpr const char* kNoteProfile = R"({
  "resourceType": "StructureDefinition",
  "url": "https://site.example/fhir/StructureDefinition/ward-note",
  "version": "1.0.0", "name": "WardNote", "status": "active", "fhirVersion": "4.0.1",
  "kind": "resource", "abstract": false, "type": "Observation",
  "baseDefinition": "http://hl7.org/fhir/StructureDefinition/Observation",
  "derivation": "constraint",
  "differential": {"element": [
    {"id": "Observation", "path": "Observation"},
    {"id": "Observation.method", "path": "Observation.method", "min": 1}]}})";
constexpr const char* kNoteCode = "'session-note', 'Note of the session') as cc, obs.value = t";
constexpr const char* kClaim =
    ", obs.meta as m collate, m.profile = "
    "'https://site.example/fhir/StructureDefinition/ward-note'";
constexpr const char* kMethod =
    ", obs.method = cc('https://site.example/fhir/CodeSystem/how', 'asked', 'Asked for')";

std::string text_of(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::stringstream text;
  text << file.rdbuf();
  return text.str();
}

bool has(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

class SiteMaps : public ::testing::Test {
 protected:
  void SetUp() override {
    std::string name = ::testing::TempDir() + "chartferry-site-XXXXXX";
    site_ = ::mkdtemp(name.data());
  }
  void TearDown() override {
    std::error_code ignored;
    fs::remove_all(site_, ignored);
  }
  void put(const std::string& name, const std::string& text) {
    fs::create_directories((site_ / name).parent_path());
    std::ofstream(site_ / name, std::ios::binary) << text;
  }
  // One of our files, with one place of it changed, as the site's.
  void change(const std::string& name, const std::string& from, const std::string& to) {
    std::string text = text_of("mappings/" + name);
    const std::size_t at = text.find(from);
    ASSERT_NE(at, std::string::npos) << name << " has no " << from;
    put("mappings/" + name, text.replace(at, from.size(), to));
  }
  Answer map(std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), "map");
    arguments.insert(arguments.end(), {"--site", site_.string()});
    return run_program(arguments);
  }
  fs::path site_;
};

TEST_F(SiteMaps, AnEmptyDirectoryIsNoSite) {
  const Answer answer = map({"test"});
  EXPECT_EQ(answer.status, 2);
  EXPECT_TRUE(has(answer.err, "mappings/, profiles/ or settings.json")) << answer.err;
}

TEST_F(SiteMaps, AFolderAndASiteAreOneTooMany) {
  put("settings.json", "{}");
  EXPECT_EQ(map({"test", "mappings"}).status, 2);
  EXPECT_EQ(run_program({"map", "test"}).status, 2);
  EXPECT_EQ(run_program({"map", "test", "mappings", "--overlay", "us-core"}).status, 2);
}

TEST_F(SiteMaps, OurSamplesConformUnderASiteThatOnlyNamesItself) {
  put("settings.json", R"({"base": "https://hospital.example/fhir"})");
  for (const bool national : {false, true}) {
    std::vector<std::string> arguments{"test"};
    if (national) {
      arguments.insert(arguments.end(), {"--overlay", "us-core"});
    }
    const Answer answer = map(arguments);
    EXPECT_EQ(answer.status, 0) << answer.out;
    EXPECT_TRUE(has(answer.out, "ok     samples/vitals.session.json")) << answer.out;
    EXPECT_TRUE(has(answer.out, " 0 failed; ")) << answer.out;
    EXPECT_TRUE(has(answer.out, " 0 errors, ")) << answer.out;
  }
}

TEST_F(SiteMaps, AMapThatBreaksR4IsNamedWithThePlaceAndTheValueSet) {
  change("common.map", "(iif(%s = 'closed', 'final', 'preliminary'))", "'finished'");
  const Answer answer = map({"test"});
  EXPECT_EQ(answer.status, 1);
  EXPECT_TRUE(has(answer.out, "FAILED samples/note.session.json\n  check-failed")) << answer.out;
  EXPECT_TRUE(has(answer.out,
                  "'finished', which is not in the value set "
                  "http://hl7.org/fhir/ValueSet/observation-status"))
      << answer.out;
  EXPECT_FALSE(has(answer.out, " 0 errors, ")) << answer.out;
}

TEST_F(SiteMaps, AMapThatBreaksAProfileOfTheSiteIsNamedWithTheProfile) {
  put("profiles/StructureDefinition-ward-note.json", kNoteProfile);
  change("entry-note.map", kNoteCode, std::string(kNoteCode) + kClaim);
  const Answer broken = map({"test"});
  EXPECT_EQ(broken.status, 1);
  EXPECT_TRUE(has(broken.out,
                  "method is missing; profile https://site.example/fhir/StructureDefinition/"
                  "ward-note needs it at least once"))
      << broken.out;
  EXPECT_TRUE(has(broken.out, "ok     samples/vitals.session.json")) << broken.out;
  change("entry-note.map", kNoteCode, std::string(kNoteCode) + kClaim + kMethod);
  const Answer mended = map({"test"});
  EXPECT_EQ(mended.status, 0) << mended.out;
}

TEST_F(SiteMaps, ACodeWithoutARowIsNamedWithItsTable) {
  change("concepts/consciousness.csv", "\nA,", "\nZ,");
  const Answer answer = map({"test"});
  EXPECT_EQ(answer.status, 1);
  EXPECT_TRUE(has(answer.out, "FAILED samples/vitals.session.json\n  unknown-code")) << answer.out;
  EXPECT_TRUE(has(answer.out, "The code 'A' has no translation in ")) << answer.out;
}

TEST_F(SiteMaps, AMapThatDoesNotCompileIsRefusedWithItsLine) {
  change("entry-note.map", "obs.value = t", "obs.worth = t");
  for (const char* command : {"test", "lint", "coverage"}) {
    const Answer answer = map({command});
    EXPECT_EQ(answer.status, 2) << command;
    EXPECT_TRUE(has(answer.err, "entry-note.map:")) << command << answer.err;
    EXPECT_TRUE(has(answer.err, "no element worth")) << command << answer.err;
  }
}

TEST_F(SiteMaps, ItsOwnSamplesAreComparedWithWhatItAccepted) {
  put("mappings/samples/ward.session.json", text_of("mappings/samples/note.session.json"));
  const Answer missing = map({"test"});
  EXPECT_EQ(missing.status, 1);
  EXPECT_TRUE(has(missing.out, "ward.bundle.json is missing")) << missing.out;
  EXPECT_TRUE(has(map({"test", "--accept"}).out, "wrote  ")) << missing.out;
  EXPECT_EQ(map({"test"}).status, 0);
  // Taken in when it ends, as by `session`, so that what was accepted is what comes out there.
  const Answer made =
      run_program({"session", (site_ / "mappings/samples/ward.session.json").string()});
  const std::string kept = text_of(site_ / "mappings/samples/ward.bundle.json");
  EXPECT_EQ(made.out.substr(0, made.out.rfind('}')), kept.substr(0, kept.rfind('}')));
  change("entry-note.map", "'Note of the session'", "'Ward note'");
  const Answer changed = map({"test"});
  EXPECT_EQ(changed.status, 1);
  EXPECT_TRUE(has(changed.out, "FAILED samples/ward.session.json (- expected, + got)"))
      << changed.out;
}

TEST_F(SiteMaps, AreLintedWithTheirLines) {
  put("settings.json", "{}");
  EXPECT_EQ(map({"lint"}).status, 0);
  change("entry-note.map", "  } \"note\";\n}\n",
         "  } \"note\";\n}\n\ngroup unused(source a : Quantity, target b : Quantity) {\n"
         "  a.value -> b.value;\n}\n");
  const Answer answer = map({"lint"});
  EXPECT_EQ(answer.status, 1);
  EXPECT_TRUE(has(answer.out, "entry-note.map:20:7: unused-group: nothing calls the group unused"))
      << answer.out;
}

TEST_F(SiteMaps, AreCoveredRuleByRule) {
  change("entry-note.map", "\"text\";\n",
         "\"text\";\n    x.text as u where ($this = 'never said') -> obs.value = u \"silent\"; "
         "x.text as w -> obs.note as n, n.text = w \"loud\";\n");
  const Answer answer = map({"coverage", "--each"});
  EXPECT_EQ(answer.status, 1);
  EXPECT_TRUE(has(answer.out, "rule silent of group note fires in no sample")) << answer.out;
  EXPECT_TRUE(has(answer.out, "rule loud of group note fires in ")) << answer.out;
  EXPECT_TRUE(has(answer.out, " % entry-note.map (3 of 4 rules)")) << answer.out;
}

}  // namespace
}  // namespace cli_test

// Every sample of mappings/samples against the Bundle, findings and outcome it must become. The
// files were reviewed by hand against the tables of docs/terminology.md and docs/findings.md.
// CHARTFERRY_UPDATE_GOLDEN=1 writes them anew; the difference is then reviewed like code.

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>

#include <gtest/gtest.h>

#include "engine/json/write.h"
#include "tests/therapy/house.h"

namespace engine::therapy {
namespace {

std::vector<std::string> sample_names() {
  std::vector<std::string> names;
  for (const auto& file : std::filesystem::directory_iterator("mappings/samples")) {
    const std::string name = file.path().filename().string();
    names.push_back(name.substr(0, name.find('.')));
  }
  std::sort(names.begin(), names.end());
  return names;
}

std::string pretty(const std::string& text) {
  const json::NameTable names;
  json::Document document(names);
  if (text.empty() || !document.parse(text)) {
    return text;
  }
  return json::to_pretty_text(*document.root()) + "\n";
}

void compare(const std::string& path, const std::string& got) {
  if (std::getenv("CHARTFERRY_UPDATE_GOLDEN") != nullptr) {
    std::ofstream(path, std::ios::binary) << got;
    return;
  }
  EXPECT_EQ(testing::read_text(path), got) << path;
}

TEST(Golden, EverySampleBecomesItsBundle) {
  for (const std::string& name : sample_names()) {
    SCOPED_TRACE(name);
    const Translation done = testing::translate_one(testing::sample(name));
    EXPECT_EQ(done.verdict, Verdict::kReady) << done.hold_reason << "\n"
                                             << pretty(fhir::to_operation_outcome(done.issues));
    compare("tests/golden/" + name + ".bundle.json", pretty(done.bundle));
    compare("tests/golden/" + name + ".findings.json", pretty(done.findings));
    compare("tests/golden/" + name + ".outcome.json",
            pretty(fhir::to_operation_outcome(done.issues)));
  }
}

TEST(Golden, SamplesPassTheCheckerWithoutErrorOrWarning) {
  for (const std::string& name : sample_names()) {
    const Translation done = testing::translate_one(testing::sample(name));
    for (const fhir::Issue& issue : done.issues) {
      EXPECT_EQ(issue.severity, fhir::Severity::kInformation)
          << name << ": " << issue.expression << ": " << issue.text;
    }
  }
}

TEST(Golden, TheSameInputsGiveTheSameBytes) {
  for (const std::string& name : sample_names()) {
    const Translation one = testing::translate_one(testing::sample(name));
    const Translation two = testing::translate_one(testing::sample(name));
    EXPECT_EQ(one.bundle, two.bundle) << name;
    EXPECT_EQ(one.lineage, two.lineage) << name;
    EXPECT_EQ(one.findings, two.findings) << name;
  }
}

}  // namespace
}  // namespace engine::therapy

// Codes that are in circulation for what we send and say something else: none of them may be in a
// map, a table, a profile or a golden Bundle. docs/terminology.md gives the reason of each.

#include <filesystem>
#include <fstream>
#include <regex>
#include <set>
#include <sstream>
#include <string>

#include <gtest/gtest.h>

namespace engine::therapy {
namespace {

struct Codes {
  std::set<std::string> loinc;
  std::set<std::string> snomed;
};

// A code follows its system in all our files: in a map's cc('system', 'code'), in a table's row, in
// JSON as "system": ..., "code": ....
Codes collect() {
  Codes codes;
  const std::regex loinc(R"(http://loinc\.org['"]?,\s*(?:"code"\s*:\s*)?['"]?([0-9]+-[0-9])\b)");
  const std::regex snomed(
      R"(http://snomed\.info/sct['"]?,\s*(?:"code"\s*:\s*)?['"]?([0-9]{6,18})\b)");
  for (const char* root : {"mappings", "profiles/session", "profiles/therapy", "tests/golden"}) {
    if (!std::filesystem::exists(root)) {
      continue;
    }
    for (const auto& file : std::filesystem::recursive_directory_iterator(root)) {
      if (!file.is_regular_file()) {
        continue;
      }
      std::ifstream in(file.path());
      std::stringstream bytes;
      bytes << in.rdbuf();
      const std::string text = bytes.str();
      for (std::sregex_iterator it(text.begin(), text.end(), loinc), end; it != end; ++it) {
        codes.loinc.insert((*it)[1]);
      }
      for (std::sregex_iterator it(text.begin(), text.end(), snomed), end; it != end; ++it) {
        codes.snomed.insert((*it)[1]);
      }
    }
  }
  return codes;
}

TEST(Codes, WithheldCodesAreNotSent) {
  const Codes codes = collect();
  // Each of these says something else than it is often used for; see docs/terminology.md.
  for (const char* code : {"19852-3", "76248-4", "50984-4", "3150-6", "88330-6"}) {
    EXPECT_EQ(codes.loinc.count(code), 0U) << code;
  }
  for (const char* code : {"229306004", "870392006", "1183002", "442867008"}) {
    EXPECT_EQ(codes.snomed.count(code), 0U) << code;
  }
}

}  // namespace
}  // namespace engine::therapy

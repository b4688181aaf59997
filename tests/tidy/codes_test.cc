// Codes carry a check digit: a mistyped LOINC or SNOMED CT code is found before anybody sends it.
// LOINC: Luhn (mod 10). SNOMED CT: Verhoeff. Both from memory of the two publishers' guides; the
// first tests hold the arithmetic against codes that are in daily use.

#include <algorithm>
#include <array>
#include <filesystem>
#include <regex>
#include <string>

#include <gtest/gtest.h>

#include "engine/json/document.h"
#include "tests/tidy/source_tree.h"

namespace tidy {
namespace {

namespace json = engine::json;

// "59408-5"; the answer codes (LA...) and parts (LP...) have a check digit too, but not all tools
// keep it, so only plain codes are held.
bool is_loinc(std::string_view code) {
  const std::size_t dash = code.find('-');
  if (dash == std::string_view::npos || dash == 0 || dash + 2 != code.size()) {
    return false;
  }
  int sum = 0;
  bool twice = true;
  for (std::size_t i = dash; i-- > 0;) {
    if (code[i] < '0' || code[i] > '9') {
      return false;
    }
    int digit = code[i] - '0';
    digit = twice ? digit * 2 : digit;
    sum += digit / 10 + digit % 10;
    twice = !twice;
  }
  return (10 - sum % 10) % 10 == code[dash + 1] - '0';
}

constexpr std::array<std::array<int, 10>, 10> kDihedral = {{{0, 1, 2, 3, 4, 5, 6, 7, 8, 9},
                                                            {1, 2, 3, 4, 0, 6, 7, 8, 9, 5},
                                                            {2, 3, 4, 0, 1, 7, 8, 9, 5, 6},
                                                            {3, 4, 0, 1, 2, 8, 9, 5, 6, 7},
                                                            {4, 0, 1, 2, 3, 9, 5, 6, 7, 8},
                                                            {5, 9, 8, 7, 6, 0, 4, 3, 2, 1},
                                                            {6, 5, 9, 8, 7, 1, 0, 4, 3, 2},
                                                            {7, 6, 5, 9, 8, 2, 1, 0, 4, 3},
                                                            {8, 7, 6, 5, 9, 3, 2, 1, 0, 4},
                                                            {9, 8, 7, 6, 5, 4, 3, 2, 1, 0}}};
constexpr std::array<int, 10> kPermutation = {1, 5, 7, 6, 2, 8, 3, 0, 9, 4};

bool is_snomed(std::string_view code) {
  if (code.size() < 6 || code.size() > 18 || code.front() == '0' ||
      !std::all_of(code.begin(), code.end(), [](char c) { return c >= '0' && c <= '9'; })) {
    return false;
  }
  std::size_t check = 0;
  for (std::size_t i = 0; i < code.size(); ++i) {
    auto digit = static_cast<std::size_t>(code[code.size() - 1 - i] - '0');
    for (std::size_t times = i % 8; times > 0; --times) {
      digit = static_cast<std::size_t>(kPermutation[digit]);
    }
    check = static_cast<std::size_t>(kDihedral[check][digit]);
  }
  return check == 0;
}

TEST(Codes, TheLoincArithmeticKnowsRightFromWrong) {
  for (const char* right :
       {"59408-5", "2708-6", "9279-1", "8867-4", "3151-8", "8310-5", "85354-9"}) {
    EXPECT_TRUE(is_loinc(right)) << right;
  }
  for (const char* wrong :
       {"59408-4", "59480-5", "2708-7", "9297-1", "-5", "59408", "a9408-5", "59408-55"}) {
    EXPECT_FALSE(is_loinc(wrong)) << wrong;
  }
}

TEST(Codes, TheSnomedArithmeticKnowsRightFromWrong) {
  // Clinical finding, procedure, finger structure, pulse oximetry.
  for (const char* right : {"404684003", "71388002", "7569003", "252465000"}) {
    EXPECT_TRUE(is_snomed(right)) << right;
  }
  for (const char* wrong :
       {"404684004", "404648003", "71388020", "12345", "0404684003", "40468400a"}) {
    EXPECT_FALSE(is_snomed(wrong)) << wrong;
  }
}

// In circulation and wrong; docs and maps name it as a trap.
constexpr std::string_view kNamedTrap = "3150-6";

void hold(std::string_view system, std::string_view code, const std::string& where) {
  if (code.empty() || code == kNamedTrap) {
    return;
  }
  if (system == "http://loinc.org" && !code.starts_with("LA") && !code.starts_with("LP") &&
      !code.starts_with("LG") && !code.starts_with("LL")) {
    EXPECT_TRUE(is_loinc(code)) << where << ": LOINC " << code;
  }
  if (system == "http://snomed.info/sct") {
    EXPECT_TRUE(is_snomed(code)) << where << ": SNOMED CT " << code;
  }
}

// Codings, value sets (include.system with concept.code), concept maps (group.source,
// group.target).
void hold_all(const json::Node& node, const std::string& where) {
  if (node.is_object()) {
    const std::string_view system = node.string_at("system");
    hold(system, node.string_at("code"), where);
    if (const json::Node* concepts = node.find("concept"); concepts != nullptr) {
      for (const json::Node& concept_node : *concepts) {
        hold(system, concept_node.string_at("code"), where);
      }
    }
    if (const json::Node* elements = node.find("element"); elements != nullptr) {
      for (const json::Node& element : *elements) {
        hold(node.string_at("source"), element.string_at("code"), where);
        if (const json::Node* targets = element.find("target"); targets != nullptr) {
          for (const json::Node& target : *targets) {
            hold(node.string_at("target"), target.string_at("code"), where);
          }
        }
      }
    }
  }
  for (const json::Node& child : node) {
    hold_all(child, where);
  }
}

std::string joined(const SourceFile& file) {
  std::string text;
  for (const std::string& line : file.lines) {
    text += line + '\n';
  }
  return text;
}

TEST(Codes, OfJsonFilesAreWhole) {
  const json::NameTable names;
  for (const SourceFile& file :
       read_tree({"mappings", "profiles/therapy", "profiles/session", "sandbox"}, {".json"})) {
    json::Document document(names);
    const auto read = document.parse(joined(file));
    // Files that are broken on purpose are the business of other tests.
    if (read) {
      hold_all(*document.root(), file.path);
    }
  }
}

// Maps, code and prose: what looks like a LOINC code, and every long number on a line that names
// SNOMED CT.
TEST(Codes, OfTextFilesAreWhole) {
  static const std::regex kLoinc(
      R"((^|[^0-9A-Za-z.:/_-])([1-9][0-9]{3,5}-[0-9])($|[^0-9A-Za-z-]))");
  static const std::regex kLong(R"((^|[^0-9A-Za-z.:_-])([0-9]{6,18})($|[^0-9A-Za-z_-]))");
  auto files = read_tree({"mappings", "docs"}, {".map", ".md", ".csv"});
  for (SourceFile& file : read_tree({"engine/therapy"}, {".cc", ".h"})) {
    files.push_back(std::move(file));
  }
  for (const SourceFile& file : files) {
    for (std::size_t i = 0; i < file.lines.size(); ++i) {
      const std::string& line = file.lines[i];
      const std::string where = file.path + ":" + std::to_string(i + 1);
      for (std::sregex_iterator hit(line.begin(), line.end(), kLoinc), end; hit != end; ++hit) {
        if (line.find("ISO " + (*hit)[2].str()) == std::string::npos) {
          hold("http://loinc.org", (*hit)[2].str(), where);
        }
      }
      if (line.find("snomed") == std::string::npos && line.find("SNOMED") == std::string::npos) {
        continue;
      }
      for (std::sregex_iterator hit(line.begin(), line.end(), kLong), end; hit != end; ++hit) {
        hold("http://snomed.info/sct", (*hit)[2].str(), where);
      }
    }
  }
}

}  // namespace
}  // namespace tidy

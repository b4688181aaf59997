// Files of cases: what maps make of a source, and what is refused. Expected values are worked out
// by hand from the mapping language's text.

#include <string>

#include <gtest/gtest.h>

#include "tests/mapping/bench.h"

namespace engine::mapping::testing {
namespace {

// The ids that uuid() hands out in these runs, which no table should spell out: all UUID-shaped
// texts are UUID.
std::string without_uuids(std::string text) {
  static const std::string kShape = "xxxxxxxx-xxxx-xxxx-xxxx-xxxxxxxxxxxx";
  for (std::size_t i = 0; i + kShape.size() <= text.size(); ++i) {
    bool uuid = true;
    for (std::size_t j = 0; uuid && j < kShape.size(); ++j) {
      const char c = text[i + j];
      uuid = kShape[j] == '-' ? c == '-' : (c >= '0' && c <= '9') || (c >= 'a' && c <= 'f');
    }
    if (uuid) {
      text.replace(i, kShape.size(), "UUID");
    }
  }
  return text;
}

void expect_cases(const std::string& path) {
  for (const Case& one : read_cases(path)) {
    EXPECT_EQ(without_uuids(run_map(one.map, one.source)), one.result) << one.name;
  }
}

TEST(Transforms, MakeWhatTheTableSays) {
  expect_cases("tests/mapping/data/transforms.cases");
}

TEST(Rules, RunAsTheLanguageSays) {
  expect_cases("tests/mapping/data/rules.cases");
}

}  // namespace
}  // namespace engine::mapping::testing

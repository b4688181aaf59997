// The published cases of the mapping language, as data. Every map that has a result must give it;
// the others are there to be parsed. Source: FHIR/fhir-test-cases, structure-mapping.

#include <filesystem>
#include <fstream>
#include <string>

#include <gtest/gtest.h>

#include "engine/json/write.h"
#include "engine/mapping/parse.h"
#include "tests/mapping/bench.h"

namespace engine::mapping::testing {
namespace {

constexpr const char* kCases = "../shared/conformance/mapping/cases.ndjson";

TEST(Conformance, PublishedMapsGiveThePublishedResults) {
  if (!std::filesystem::exists(kCases)) {
    GTEST_SKIP() << "the published cases are not here";
  }
  std::ifstream file(kCases);
  std::string line;
  std::size_t with_result = 0;
  while (std::getline(file, line)) {
    json::Document one(catalog().names());
    ASSERT_TRUE(one.parse(line));
    const json::Node& root = *one.root();
    const base::Result<Map> parsed = parse_map(root.string_at("map"), "case.map");
    ASSERT_TRUE(parsed) << root.string_at("name") << ": " << parsed.error().text();
    const json::Node* expected = root.find("result");
    if (expected == nullptr || expected->is_null()) {
      continue;
    }
    ++with_result;
    const std::string got = run_map(root.string_at("map"), json::to_text(*root.find("source")));
    json::Document result(catalog().names());
    ASSERT_TRUE(result.parse(got)) << root.string_at("name") << ": " << got;
    EXPECT_TRUE(json::deep_equal(*result.root(), *expected))
        << root.string_at("name") << ": " << got;
  }
  EXPECT_EQ(with_result, 7U);
}

}  // namespace
}  // namespace engine::mapping::testing

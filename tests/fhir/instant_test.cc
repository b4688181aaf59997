// Instants in the one form in which their texts can be compared.
#include "engine/fhir/instant.h"

#include <string>

#include <gtest/gtest.h>

namespace engine::fhir {
namespace {

TEST(InstantTest, StandsInUtcWithMilliseconds) {
  const auto utc = [](const char* text) { return utc_of(text).value(); };
  EXPECT_EQ(utc("2026-03-02T08:00:00Z"), "2026-03-02T08:00:00.000Z");
  EXPECT_EQ(utc("2026-03-02T08:00:00.5Z"), "2026-03-02T08:00:00.500Z");
  EXPECT_EQ(utc("2026-03-02T08:00:00.12399Z"), "2026-03-02T08:00:00.123Z");
  EXPECT_EQ(utc("2026-03-02T08:00:00+01:00"), "2026-03-02T07:00:00.000Z");
  EXPECT_EQ(utc("2026-03-01T00:30:00.25+05:45"), "2026-02-28T18:45:00.250Z");
  EXPECT_EQ(utc("2023-12-31T22:00:00-03:30"), "2024-01-01T01:30:00.000Z");
  EXPECT_EQ(utc("2024-02-29T23:59:59-00:01"), "2024-03-01T00:00:59.000Z");
  EXPECT_EQ(utc("0001-01-01T00:00:00Z"), "0001-01-01T00:00:00.000Z");
  EXPECT_EQ(utc(""), "");
}

TEST(InstantTest, IsNothingElse) {
  for (const char* text : {"yesterday", "2026", "2026-03-02", "2026-03-02T08:00Z",
                           "2026-03-02T08:00:00", "2026-02-29T08:00:00Z", "2026-03-02T08:00:00.Z",
                           "2026-03-02T08:00:00+1:00", " 2026-03-02T08:00:00Z", "01.12.2026",
                           "0001-01-01T00:00:00+01:00", "9999-12-31T23:59:59-01:00"}) {
    EXPECT_FALSE(utc_of(text).has_value()) << text;
  }
}

}  // namespace
}  // namespace engine::fhir

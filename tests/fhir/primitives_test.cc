#include "engine/fhir/primitives.h"

#include <string>

#include <gtest/gtest.h>

namespace engine::fhir {
namespace {

struct Case {
  Primitive type;
  std::string_view text;
  bool valid;
};

using enum Primitive;

// Expected values: the regexes of the R4 StructureDefinitions, read by hand, and the calendar.
constexpr Case kCases[] = {
    {kInteger, "0", true},
    {kInteger, "-0", true},
    {kInteger, "-2147483648", true},
    {kInteger, "2147483647", true},
    {kInteger, "2147483648", false},
    {kInteger, "-2147483649", false},
    {kInteger, "01", false},
    {kInteger, "1.0", false},
    {kInteger, "1e3", false},
    {kInteger, "-", false},
    {kUnsignedInt, "0", true},
    {kUnsignedInt, "2147483647", true},
    {kUnsignedInt, "-0", false},
    {kUnsignedInt, "2147483648", false},
    {kPositiveInt, "1", true},
    {kPositiveInt, "0", false},
    {kPositiveInt, "-1", false},
    {kPositiveInt, "99999999999999999999", false},
    {kDecimal, "0.0", true},
    {kDecimal, "-0.50", true},
    {kDecimal, "1e-30", true},
    {kDecimal, "1E+5", true},
    {kDecimal, "1.", false},
    {kDecimal, ".5", false},
    {kDecimal, "01.5", false},
    {kDecimal, "1e", false},
    {kDecimal, "--1", false},
    {kString, " ", true},
    {kString, "a\tb\r\nc", true},
    {kString, "\xC2\xA0", true},
    {kString, "", false},
    {kString, "a\vb", false},
    {kMarkdown, "\f", false},
    {kCode, "final", true},
    {kCode, "two words", true},
    {kCode, "two  words", false},
    {kCode, " final", false},
    {kCode, "final ", false},
    {kCode, "final\n", false},
    {kId, "a-B.9", true},
    {kId, "a_b", false},
    {kId, "", false},
    {kId, "1234567890123456789012345678901234567890123456789012345678901234", true},
    {kId, "12345678901234567890123456789012345678901234567890123456789012345", false},
    {kUri, "urn:uuid:x", true},
    {kUri, "a b", false},
    {kUrl, "\t", false},
    {kCanonical, "http://a/b|1#c", true},
    {kCanonical, "", false},
    {kOid, "urn:oid:2.16.840", true},
    {kOid, "urn:oid:1.0.5", true},
    {kOid, "urn:oid:1", false},
    {kOid, "urn:oid:3.1", false},
    {kOid, "urn:oid:1.02", false},
    {kOid, "urn:oid:1.2.", false},
    {kOid, "1.2.3", false},
    {kUuid, "urn:uuid:c757873d-ec9a-4326-a141-556f43239520", true},
    {kUuid, "urn:uuid:C757873D-ec9a-4326-a141-556f43239520", false},
    {kUuid, "urn:uuid:c757873dec9a4326a141556f43239520", false},
    {kUuid, "urn:uuiX:c757873d-ec9a-4326-a141-556f43239520", false},
    {kBase64Binary, "Zm9v", true},
    {kBase64Binary, "Zm8=", true},
    {kBase64Binary, "Zg==", true},
    {kBase64Binary, "Zm9v  Zg==\n", true},
    {kBase64Binary, "Zm9", false},
    {kBase64Binary, "Zm 9v", false},
    {kBase64Binary, "Z===", false},
    {kBase64Binary, "Zg==Zm9v", false},
    {kBase64Binary, "Zm9-", false},
    {kBase64Binary, " ", false},
    {kDate, "2024", true},
    {kDate, "2024-02", true},
    {kDate, "2024-02-29", true},
    {kDate, "2023-02-29", false},
    {kDate, "1900-02-29", false},
    {kDate, "2000-02-29", true},
    {kDate, "2023-04-31", false},
    {kDate, "0000", false},
    {kDate, "2023-13", false},
    {kDate, "2023-00-01", false},
    {kDate, "2023-1-1", false},
    {kDate, "2023-01-01T", false},
    {kDate, "20230101", false},
    {kDateTime, "2024", true},
    {kDateTime, "2024-02-29T23:59:60Z", true},
    {kDateTime, "2024-02-30T10:00:00Z", false},
    {kDateTime, "2024-02-29T24:00:00Z", false},
    {kDateTime, "2024-02-29T10:00Z", false},
    {kDateTime, "2024-02-29T10:00:00", false},
    {kDateTime, "2024-02T10:00:00Z", false},
    {kDateTime, "2024-02-29T10:00:00+14:00", true},
    {kDateTime, "2024-02-29T10:00:00+14:01", false},
    {kDateTime, "2024-02-29T10:00:00-13:59", true},
    {kDateTime, "2024-02-29T10:00:00.Z", false},
    {kDateTime, "2024-02-29T10:00:00.120Z", true},
    {kDateTime, "2024-02-29T10:00:00ZZ", false},
    {kDateTime, "2024-02-29t10:00:00Z", false},
    {kInstant, "2024-02-29T10:00:00Z", true},
    {kInstant, "2024-02-29", false},
    {kInstant, "2024", false},
    {kInstant, "2024-02-29T10:00:00", false},
    {kTime, "00:00:00", true},
    {kTime, "23:59:60.5", true},
    {kTime, "24:00:00", false},
    {kTime, "10:00", false},
    {kTime, "10:00:00Z", false},
    {kTime, "1:00:00", false},
};

TEST(Primitives, FollowTheirLexicalRules) {
  for (const Case& each : kCases) {
    const char* fault = primitive_fault(each.type, each.text);
    EXPECT_EQ(fault == nullptr, each.valid)
        << name_of(each.type) << " '" << each.text << "' " << (fault != nullptr ? fault : "");
  }
}

TEST(Primitives, AreFoundByName) {
  for (int i = 0; i <= static_cast<int>(kXhtml); ++i) {
    const Primitive each = static_cast<Primitive>(i);
    EXPECT_EQ(primitive_named(name_of(each)), each);
  }
  EXPECT_FALSE(primitive_named("System.String"));
  EXPECT_FALSE(primitive_named("Quantity"));
}

TEST(Primitives, StringsEndAtTheirLengthLimitInCharacters) {
  const std::string two_bytes = "\xC3\xA9";
  std::string at;
  for (int i = 0; i < 1'048'576; ++i) {
    at += two_bytes;
  }
  EXPECT_EQ(primitive_fault(kString, at), nullptr);
  EXPECT_NE(primitive_fault(kString, at + "x"), nullptr);
}

TEST(Primitives, EveryDayOfFourCenturiesIsJudgedByTheGregorianRule) {
  int leap_days = 0;
  for (int year = 1601; year <= 2000; ++year) {
    leap_days += primitive_fault(kDate, std::to_string(year) + "-02-29") == nullptr ? 1 : 0;
  }
  EXPECT_EQ(leap_days, 97);  // ISO 8601: 97 leap years in 400
}

TEST(Primitives, SignificantDigitsLeaveOutLeadingZerosAndExponent) {
  EXPECT_EQ(significant_digits("0.00120"), 3U);
  EXPECT_EQ(significant_digits("-12.50e10"), 4U);
  EXPECT_EQ(significant_digits("0"), 0U);
}

}  // namespace
}  // namespace engine::fhir

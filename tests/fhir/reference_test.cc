#include "engine/fhir/reference.h"

#include <string>

#include <gtest/gtest.h>

namespace engine::fhir {
namespace {

std::string printed(std::string_view text) {
  static constexpr const char* kNames[] = {"empty", "contained",   "relative", "absolute",
                                           "urn",   "conditional", "other",    "unreadable"};
  const ParsedReference r = parse_reference(text);
  const auto field = [](const char* name, std::string_view value) {
    return value.empty() ? std::string() : std::string(" ") + name + "=" + std::string(value);
  };
  return kNames[static_cast<int>(r.form)] + field("base", r.base) + field("type", r.type) +
         field("id", r.id) + field("version", r.version) + field("fragment", r.fragment);
}

struct Case {
  const char* text;
  const char* printed;
};

// Forms: FHIR R4 references page.
constexpr Case kCases[] = {
    {"", "empty"},
    {"#p1", "contained fragment=p1"},
    {"#", "contained"},
    {"Patient/123", "relative type=Patient id=123"},
    {"Patient/123/_history/4", "relative type=Patient id=123 version=4"},
    {"https://h/fhir/Patient/123", "absolute base=https://h/fhir type=Patient id=123"},
    {"http://h:80/Patient/a.b/_history/2",
     "absolute base=http://h:80 type=Patient id=a.b version=2"},
    {"urn:uuid:c757873d-ec9a-4326-a141-556f43239520", "urn"},
    {"Patient?identifier=s|v", "conditional type=Patient"},
    {"http://h/fhir/Patient?x=1", "other"},
    {"http://h/page.html", "other"},
    {"patient/123", "unreadable"},
    {"/Patient/123", "unreadable"},
    {"Patient/", "unreadable"},
    {"Patient/a_b", "unreadable"},
    {"Patient", "unreadable"},
    {"Patient?", "unreadable type=Patient"},
    {"Patient/1/_history/", "unreadable"},
};

TEST(References, AreTakenApart) {
  for (const Case& each : kCases) {
    EXPECT_EQ(printed(each.text), each.printed) << each.text;
  }
}

TEST(References, CanonicalsCarryVersionAndFragment) {
  const Canonical whole = parse_canonical("http://a/b|1.2#c");
  EXPECT_EQ(whole.url, "http://a/b");
  EXPECT_EQ(whole.version, "1.2");
  EXPECT_EQ(whole.fragment, "c");
  EXPECT_EQ(parse_canonical("http://a/b").version, "");
}

TEST(References, AbsoluteUrisBeginWithAScheme) {
  EXPECT_TRUE(is_absolute_uri("urn:x"));
  EXPECT_TRUE(is_absolute_uri("http://x"));
  EXPECT_FALSE(is_absolute_uri("Patient/1"));
  EXPECT_FALSE(is_absolute_uri(":x"));
  EXPECT_FALSE(is_absolute_uri(""));
}

}  // namespace
}  // namespace engine::fhir

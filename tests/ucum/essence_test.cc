// The table that UCUM publishes, read as it stands, against our own facts. Skipped where the file
// is not at hand.

#include <fstream>
#include <regex>
#include <sstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/cli/ucum_essence.h"

namespace engine::cli {
namespace {

using ucum::UnitTable;

constexpr const char* kEssence = "../shared/conformance/ucum/ucum-essence.xml";

std::string read(const char* path) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

std::string xml_of(std::string_view rows) {
  std::string out = R"(<root xmlns="http://unitsofmeasure.org/ucum-essence">)"
                    R"(<prefix Code="k"><name>kilo</name><value value="1e3"/></prefix>)";
  for (const char* base : {"m", "s", "g", "rad", "K", "C", "cd"}) {
    out += std::string("<base-unit Code=\"") + base + "\"><name>b</name></base-unit>";
  }
  return out + std::string(rows) + "</root>";
}

std::vector<std::string> all_codes(const std::string& xml, const std::regex& pattern) {
  std::vector<std::string> out;
  for (std::sregex_iterator row(xml.begin(), xml.end(), pattern), end; row != end; ++row) {
    out.push_back((*row)[1]);
  }
  return out;
}

TEST(UcumEssence, OurFactsSayTheSame) {
  const std::string xml = read(kEssence);
  if (xml.empty()) {
    GTEST_SKIP() << kEssence << " is not at hand";
  }
  const auto published = read_ucum_essence(xml);
  ASSERT_TRUE(published.has_value()) << published.error().text();
  const UnitTable& ours = UnitTable::standard();
  EXPECT_EQ(published->size(), ours.size());
  const std::vector<std::string> prefixes = all_codes(xml, std::regex("<prefix Code=\"([^\"]*)\""));
  std::size_t compared = 0;
  for (const std::string& symbol :
       all_codes(xml, std::regex("<(?:base-)?unit Code=\"([^\"]*)\""))) {
    std::vector<std::string> codes = {symbol, symbol + "2"};
    for (const std::string& prefix : prefixes) {
      codes.push_back(prefix + symbol);
    }
    for (const std::string& code : codes) {
      const auto theirs = published->parse(code);
      const auto mine = ours.parse(code);
      ASSERT_EQ(theirs.has_value(), mine.has_value()) << code;
      if (!mine) {
        continue;
      }
      ++compared;
      EXPECT_EQ(theirs->magnitude(), mine->magnitude()) << code;
      EXPECT_EQ(theirs->dimension(), mine->dimension()) << code;
      EXPECT_EQ(theirs->scale(), mine->scale()) << code;
      EXPECT_EQ(theirs->is_arbitrary(), mine->is_arbitrary()) << code;
      EXPECT_EQ(published->canonical_code(*theirs), ours.canonical_code(*mine)) << code;
    }
  }
  EXPECT_GT(compared, 2000U);
}

TEST(UcumEssence, OwnRowsMayComeInAnyOrder) {
  const auto table = read_ucum_essence(xml_of(
      R"(<unit Code="pair" isMetric="yes"><name>pair</name><value Unit="one" value="2"/></unit>)"
      R"(<unit Code="one"><name>one</name><value Unit="1" value="1"/></unit>)"));
  ASSERT_TRUE(table.has_value()) << table.error().text();
  const auto dozen = table->convert(base::Decimal::from_int(3), "kpair", "one");
  ASSERT_TRUE(dozen.has_value());
  EXPECT_EQ(dozen->to_string(), "6000");
}

TEST(UcumEssence, RefusesBrokenTables) {
  struct Case {
    const char* what;
    std::string xml;
  };
  const Case cases[] = {
      {"nothing", ""},
      {"no XML", "{}"},
      {"cut off", xml_of("").substr(0, 100)},
      {"another root", "<units/>"},
      {"no base units", "<root/>"},
      {"circular", xml_of(R"(<unit Code="a"><value Unit="b" value="1"/></unit>)"
                          R"(<unit Code="b"><value Unit="a" value="1"/></unit>)")},
      {"by itself", xml_of(R"(<unit Code="a"><value Unit="a" value="1"/></unit>)")},
      {"of an unknown unit", xml_of(R"(<unit Code="a"><value Unit="zz" value="1"/></unit>)")},
      {"without a value", xml_of(R"(<unit Code="a"><name>a</name></unit>)")},
      {"zero", xml_of(R"(<unit Code="a"><value Unit="m" value="0"/></unit>)")},
      {"negative", xml_of(R"(<unit Code="a"><value Unit="m" value="-1"/></unit>)")},
      {"no number", xml_of(R"(<unit Code="a"><value Unit="m" value="many"/></unit>)")},
      {"twice", xml_of(R"(<unit Code="m"><value Unit="s" value="1"/></unit>)")},
      {"a blank in its symbol", xml_of(R"(<unit Code="a b"><value Unit="m" value="1"/></unit>)")},
      {"a digit at its end", xml_of(R"(<unit Code="a2"><value Unit="m" value="1"/></unit>)")},
      {"an operator in it", xml_of(R"(<unit Code="a/b"><value Unit="m" value="1"/></unit>)")},
      {"too long", xml_of("<unit Code=\"" + std::string(25, 'x') +
                          "\"><value Unit=\"m\" value=\"1\"/></unit>")},
      {"an unknown function",
       xml_of("<unit Code=\"a\" isSpecial=\"yes\"><value Unit=\"f(1 m)\">"
              "<function name=\"f\" value=\"1\" Unit=\"m\"/></value></unit>")},
      {"a prefix of three", xml_of(R"(<prefix Code="t"><value value="3"/></prefix>)")},
  };
  for (const Case& c : cases) {
    EXPECT_FALSE(read_ucum_essence(c.xml).has_value()) << c.what;
  }
}

}  // namespace
}  // namespace engine::cli

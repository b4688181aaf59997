#include "engine/cli/ucum_essence.h"

#include <deque>
#include <optional>
#include <string>
#include <vector>

#include <pugixml.hpp>

#include "engine/base/limits.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using ucum::Scale;

struct Function {
  std::string_view name;
  Scale scale;
};
constexpr Function kFunctions[] = {
    {"Cel", Scale::kCelsius},
    {"degF", Scale::kFahrenheit},
    {"degRe", Scale::kReaumur},
    {"pH", Scale::kMinusLg},
    {"ln", Scale::kLn},
    {"lg", Scale::kLg},
    {"lgTimes2", Scale::kTwoLg},
    {"ld", Scale::kLd},
    {"tanTimes100", Scale::kHundredTan},
    {"100tan", Scale::kHundredTan},
    {"sqrt", Scale::kSquareRoot},
    {"hpX", Scale::kMinusLg},
    {"hpC", Scale::kMinusLgHundred},
    {"hpM", Scale::kMinusLgThousand},
    {"hpQ", Scale::kMinusLgFiftyThousand},
};

std::optional<Scale> scale_of(std::string_view name) {
  for (const Function& function : kFunctions) {
    if (function.name == name) {
      return function.scale;
    }
  }
  return std::nullopt;
}

Error row_error(const pugi::xml_node& row, std::string_view why) {
  return {ErrorCode::kInvalid, "unit table: " + std::string(why),
          "row '" + std::string(row.attribute("Code").value()) + "'"};
}

bool is_yes(const pugi::xml_node& row, const char* attribute) {
  return std::string_view(row.attribute(attribute).value()) == "yes";
}

// The power of ten or two that a prefix stands for: "1e-3", "1024".
std::optional<ucum::PrefixFact> read_prefix(const pugi::xml_node& row) {
  ucum::PrefixFact fact;
  fact.symbol = row.attribute("Code").value();
  fact.name = row.child("name").child_value();
  const base::Result<base::Decimal> size =
      base::Decimal::parse(row.child("value").attribute("value").value());
  if (!size || size->sign() <= 0) {
    return std::nullopt;
  }
  if (size->coefficient() == 1) {
    fact.exponent = size->exponent();
    return fact;
  }
  const std::optional<std::int64_t> whole = size->to_int64();
  if (!whole || (*whole & (*whole - 1)) != 0) {
    return std::nullopt;
  }
  fact.base = 2;
  while ((std::int64_t{1} << fact.exponent) < *whole) {
    ++fact.exponent;
  }
  return fact;
}

base::Result<ucum::UnitFact> read_unit(const pugi::xml_node& row) {
  const pugi::xml_node value = row.child("value");
  ucum::UnitFact fact;
  fact.symbol = row.attribute("Code").value();
  fact.name = row.child("name").child_value();
  fact.metric = is_yes(row, "isMetric");
  fact.arbitrary = is_yes(row, "isArbitrary");
  fact.factor = value.attribute("value").value();
  fact.unit = value.attribute("Unit").value();
  if (is_yes(row, "isSpecial")) {
    const pugi::xml_node function = value.child("function");
    const std::optional<Scale> scale = scale_of(function.attribute("name").value());
    if (!scale) {
      return row_error(row, "a function that this build does not know");
    }
    fact.scale = *scale;
    fact.factor = function.attribute("value").value();
    fact.unit = function.attribute("Unit").value();
    if (*scale == Scale::kHundredTan) {
      // The rows define both by "100tan(1 rad)"; the function element of one says deg, which would
      // make a slope of 100 % something else than 45 degrees.
      fact.unit = "rad";
    }
  }
  if (fact.unit.empty()) {
    return row_error(row, "a unit without a definition");
  }
  return fact;
}

}  // namespace

base::Result<ucum::UnitTable> read_ucum_essence(std::string_view xml) {
  if (xml.size() > base::limits::kBodyBytesMax) {
    return Error{ErrorCode::kLimit, "a unit table of more than 10 MiB"};
  }
  pugi::xml_document document;
  const pugi::xml_parse_result read = document.load_buffer(xml.data(), xml.size());
  if (!read) {
    return Error{ErrorCode::kInvalid,
                 "unit table: not well-formed XML: " + std::string(read.description()),
                 "byte " + std::to_string(read.offset)};
  }
  const pugi::xml_node root = document.child("root");
  if (!root) {
    return Error{ErrorCode::kInvalid, "unit table: the XML has no element 'root' at its top"};
  }
  std::vector<ucum::PrefixFact> prefixes;
  std::vector<ucum::UnitFact> units;
  for (const pugi::xml_node& row : root.children()) {
    const std::string_view kind = row.name();
    if (kind == "prefix") {
      const std::optional<ucum::PrefixFact> fact = read_prefix(row);
      if (!fact) {
        return row_error(row, "a prefix that is no power of ten or two");
      }
      prefixes.push_back(*fact);
    } else if (kind == "base-unit") {
      units.push_back(
          {row.attribute("Code").value(), row.child("name").child_value(), "1", "", true});
    } else if (kind == "unit") {
      base::Result<ucum::UnitFact> fact = read_unit(row);
      if (!fact) {
        return std::move(fact).error();
      }
      units.push_back(*fact);
    }
  }
  return ucum::UnitTable::build(prefixes, units);
}

}  // namespace engine::cli

// Two codes and a value, one a line: nothing crashes, and what is promised of every answer holds.
// links: engine_ucum

#include <cstddef>
#include <cstdint>
#include <string_view>

#include "engine/base/check.h"
#include "engine/ucum/ucum.h"

namespace {

using engine::base::Decimal;
using engine::ucum::Unit;
using engine::ucum::UnitTable;

std::string_view take_line(std::string_view& text) {
  const std::size_t end = text.find('\n');
  const std::string_view line = text.substr(0, end);
  text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
  return line;
}

void try_quantities(const Decimal& value, const Unit& from, const Unit& to) {
  const engine::ucum::Quantity a{value, from};
  const engine::ucum::Quantity b{value, to};
  const auto there = engine::ucum::convert(value, from, to);
  ENGINE_CHECK(!there || engine::ucum::comparable(from, to));
  const auto forward = engine::ucum::compare(a, b);
  const auto backward = engine::ucum::compare(b, a);
  ENGINE_CHECK(forward.has_value() == backward.has_value());
  if (forward) {
    ENGINE_CHECK((*forward < 0) == (*backward > 0) && (*forward == 0) == (*backward == 0));
  }
  const auto itself = engine::ucum::convert(value, from, from);
  ENGINE_CHECK(itself.has_value() && *itself == value);
  for (const auto& result :
       {engine::ucum::multiply(a, b), engine::ucum::divide(a, b), engine::ucum::canonical(a)}) {
    if (result) {
      const std::string code = UnitTable::standard().canonical_code(result->unit);
      const auto again = UnitTable::standard().parse(code);
      ENGINE_CHECK(again.has_value() && engine::ucum::same_meaning(*again, result->unit));
    }
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  std::string_view text(reinterpret_cast<const char*>(data), size);
  const UnitTable& table = UnitTable::standard();
  const std::string_view first = take_line(text);
  const std::string_view second = take_line(text);
  const auto value = Decimal::parse(take_line(text));
  const auto from = table.parse(first);
  const auto to = table.parse(second);
  ENGINE_CHECK(from.has_value() == table.is_valid(first));
  if (!from) {
    const std::string better = table.suggest(first);
    ENGINE_CHECK(better.empty() || table.is_valid(better));
  } else if (!first.empty()) {
    ENGINE_CHECK(table.display(first).has_value());
  }
  if (value && from && to) {
    try_quantities(*value, *from, *to);
  }
  return 0;
}

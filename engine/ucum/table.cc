#include "engine/ucum/table.h"

#include <algorithm>
#include <utility>

#include "engine/ucum/arithmetic.h"
#include "engine/ucum/reader.h"

namespace engine::ucum {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
namespace limits = base::limits;

constexpr std::array<std::string_view, kBaseUnits> kBaseSymbols = {"m", "s", "g", "rad",
                                                                   "K", "C", "cd"};

Error row_error(std::string_view symbol, std::string why) {
  return {ErrorCode::kInvalid, "unit table: " + std::move(why),
          "row '" + std::string(symbol) + "'"};
}

// A symbol must read as one: visible ASCII, none of the grammar's own characters outside square
// brackets, no digit at its end (that would be an exponent).
bool is_symbol(std::string_view text) {
  bool bracketed = false;
  for (const char c : text) {
    if (c < 33 || c > 126) {
      return false;
    }
    if (c == '[' || c == ']') {
      bracketed = c == '[';
    } else if (!bracketed && std::string_view("(){}./\"=").find(c) != std::string_view::npos) {
      return false;
    }
  }
  return !text.empty() && !bracketed && (text.back() < '0' || text.back() > '9');
}

class TableBuilder {
 public:
  Result<void> add_prefix(const PrefixFact& fact) {
    const bool base_ok = fact.base == 10 || fact.base == 2;
    if (!is_symbol(fact.symbol) || !base_ok || std::abs(fact.exponent) > 100) {
      return row_error(fact.symbol, "no prefix of a power of ten or two");
    }
    rows_->prefixes.push_back({std::string(fact.symbol), std::string(fact.name), fact});
    return {};
  }

  Result<void> add_unit(const UnitFact& fact) {
    if (rows_->atoms.size() >= limits::kUnitRowsMax) {
      return Error{ErrorCode::kLimit, "unit table: more than 4096 rows"};
    }
    if (!is_symbol(fact.symbol) || fact.symbol.size() > limits::kUnitSymbolBytesMax) {
      return row_error(fact.symbol, "this cannot be a unit symbol");
    }
    rows_->atoms.push_back({std::string(fact.symbol), std::string(fact.name), {}, fact.metric});
    return {};
  }

  // Whole symbols first, then prefixed ones, the longest prefix first: what is there already wins.
  Result<void> index() {
    for (std::size_t atom = 0; atom < rows_->atoms.size(); ++atom) {
      if (!insert(rows_->atoms[atom].symbol, atom, 0)) {
        return row_error(rows_->atoms[atom].symbol, "the symbol is there twice");
      }
    }
    std::vector<std::size_t> order(rows_->prefixes.size());
    for (std::size_t i = 0; i < order.size(); ++i) {
      order[i] = i;
    }
    std::stable_sort(order.begin(), order.end(), [this](std::size_t a, std::size_t b) {
      return rows_->prefixes[a].symbol.size() > rows_->prefixes[b].symbol.size();
    });
    for (const std::size_t prefix : order) {
      for (std::size_t atom = 0; atom < rows_->atoms.size(); ++atom) {
        if (rows_->atoms[atom].metric) {
          insert(rows_->prefixes[prefix].symbol + rows_->atoms[atom].symbol, atom, prefix + 1);
        }
      }
    }
    return {};
  }

  // Works out definitions in as many rounds as they are deep.
  Result<void> define(std::span<const UnitFact> facts) {
    std::vector<std::size_t> open(facts.size());
    for (std::size_t i = 0; i < open.size(); ++i) {
      open[i] = i;
    }
    while (!open.empty()) {
      std::vector<std::size_t> left;
      for (const std::size_t i : open) {
        Failure failure;
        if (define_one(facts[i], i, failure)) {
          continue;
        }
        if (failure.fault != Fault::kUndefinedSymbol) {
          return row_error(facts[i].symbol, "the definition '" + std::string(facts[i].factor) +
                                                " " + std::string(facts[i].unit) +
                                                "' cannot be read");
        }
        left.push_back(i);
      }
      if (left.size() == open.size()) {
        return row_error(facts[left.front()].symbol, "defined by itself");
      }
      open = std::move(left);
    }
    for (const std::string_view symbol : kBaseSymbols) {
      if (rows_->find(symbol) == nullptr) {
        return row_error(symbol, "the base unit is missing");
      }
    }
    return {};
  }

  void reserve(std::size_t units, std::size_t prefixes) {
    std::size_t capacity = 1024;
    while (capacity < units * (prefixes + 1) * 2) {
      capacity *= 2;
    }
    rows_->slots.assign(capacity, 0);
  }
  std::unique_ptr<Rows> take() { return std::move(rows_); }

 private:
  bool insert(const std::string& symbol, std::size_t atom, std::size_t prefix) {
    SymbolKey key;
    if (!SymbolKey::make(symbol, key) || rows_->find(symbol) != nullptr ||
        rows_->entries.size() >= 0xFFFE) {
      return false;
    }
    rows_->entries.push_back(
        {key, static_cast<std::uint16_t>(atom), static_cast<std::uint16_t>(prefix)});
    const std::size_t mask = rows_->slots.size() - 1;
    std::size_t at = key.hash() & mask;
    while (rows_->slots[at] != 0) {
      at = (at + 1) & mask;
    }
    rows_->slots[at] = static_cast<std::uint16_t>(rows_->entries.size());
    return true;
  }

  bool define_one(const UnitFact& fact, std::size_t index, Failure& failure) {
    Atom& atom = rows_->atoms[index];
    Unit unit;
    if (fact.unit.empty()) {
      const auto base = std::find(kBaseSymbols.begin(), kBaseSymbols.end(), fact.symbol);
      if (base == kBaseSymbols.end()) {
        return false;
      }
      unit = Arithmetic::base_unit(static_cast<std::size_t>(base - kBaseSymbols.begin()));
    } else if (fact.symbol == "[pi]") {
      unit = Arithmetic::pi();
    } else if (fact.arbitrary && fact.unit == "1") {
      unit = Arithmetic::arbitrary_unit(static_cast<std::uint16_t>(index));
    } else {
      CodeReader reader(*rows_, fact.unit);
      Magnitude factor;
      if (!reader.read(unit)) {
        failure = reader.failure();
        return false;
      }
      if (unit.is_special() || !Magnitude::parse(fact.factor, factor) ||
          !Arithmetic::apply_factor(unit, factor)) {
        return false;
      }
      Arithmetic::set_scale(unit, fact.scale);
    }
    atom.unit = unit;
    atom.known = true;
    return true;
  }

  std::unique_ptr<Rows> rows_ = std::make_unique<Rows>();
};

}  // namespace

Result<UnitTable> UnitTable::build(std::span<const PrefixFact> prefixes,
                                   std::span<const UnitFact> units) {
  TableBuilder builder;
  if (prefixes.size() > 64) {
    return Error{ErrorCode::kLimit, "unit table: more than 64 prefixes"};
  }
  for (const PrefixFact& fact : prefixes) {
    if (Result<void> added = builder.add_prefix(fact); !added) {
      return std::move(added).error();
    }
  }
  for (const UnitFact& fact : units) {
    if (Result<void> added = builder.add_unit(fact); !added) {
      return std::move(added).error();
    }
  }
  builder.reserve(units.size(), prefixes.size());
  if (Result<void> indexed = builder.index(); !indexed) {
    return std::move(indexed).error();
  }
  if (Result<void> defined = builder.define(units); !defined) {
    return std::move(defined).error();
  }
  return UnitTable(builder.take());
}

const UnitTable& UnitTable::standard() {
  static const UnitTable table = [] {
    Result<UnitTable> built = build(standard_prefixes(), standard_units());
    ENGINE_CHECK(built.has_value());
    return std::move(*built);
  }();
  return table;
}

UnitTable::UnitTable(std::unique_ptr<const Rows> rows) : rows_(std::move(rows)) {}
UnitTable::UnitTable(UnitTable&&) noexcept = default;
UnitTable& UnitTable::operator=(UnitTable&&) noexcept = default;
UnitTable::~UnitTable() = default;

std::size_t UnitTable::size() const {
  return rows_->atoms.size();
}

bool UnitTable::is_valid(std::string_view code) const {
  Unit unit;
  return CodeReader(*rows_, code).read(unit);
}

bool UnitTable::comparable(std::string_view a, std::string_view b) const {
  Unit left;
  Unit right;
  return CodeReader(*rows_, a).read(left) && CodeReader(*rows_, b).read(right) &&
         ucum::comparable(left, right);
}

Result<base::Decimal> UnitTable::convert(const base::Decimal& value, std::string_view from,
                                         std::string_view to) const {
  Unit left;
  if (!CodeReader(*rows_, from).read(left)) {
    return parse(from).error();
  }
  Unit right;
  if (!CodeReader(*rows_, to).read(right)) {
    return parse(to).error();
  }
  return ucum::convert(value, left, right);
}

std::string UnitTable::canonical_code(const Unit& unit) const {
  std::string out;
  const auto append = [&out](std::string_view symbol, int exponent) {
    if (exponent == 0) {
      return;
    }
    if (!out.empty()) {
      out += '.';
    }
    out += symbol;
    if (exponent != 1) {
      out += std::to_string(exponent);
    }
  };
  for (std::size_t i = 0; i < kBaseUnits; ++i) {
    append(kBaseSymbols[i], unit.dimension()[i]);
  }
  for (const Arithmetic::ArbitraryPower& power : Arithmetic::arbitrary(unit)) {
    append(power.exponent != 0 ? rows_->atoms[power.atom].symbol : "", power.exponent);
  }
  return out.empty() ? "1" : out;
}

}  // namespace engine::ucum

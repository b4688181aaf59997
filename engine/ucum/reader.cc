#include "engine/ucum/reader.h"

#include <algorithm>

#include "engine/ucum/arithmetic.h"

namespace engine::ucum {
namespace {

namespace limits = base::limits;

enum class Class : std::uint8_t { kOther, kSymbol, kDigit };

// Symbols are made of the visible ASCII characters that the grammar does not use itself.
constexpr std::array<Class, 256> make_classes() {
  std::array<Class, 256> classes{};
  for (std::size_t c = 33; c <= 126; ++c) {
    classes[c] = Class::kSymbol;
  }
  for (const char c : {'(', ')', '{', '}', '.', '/', '[', ']', '"', '='}) {
    classes[static_cast<std::size_t>(c)] = Class::kOther;
  }
  for (std::size_t c = '0'; c <= '9'; ++c) {
    classes[c] = Class::kDigit;
  }
  return classes;
}
constexpr std::array<Class, 256> kClasses = make_classes();

Class class_of(char c) {
  return kClasses[static_cast<unsigned char>(c)];
}
bool is_digit(char c) {
  return c >= '0' && c <= '9';
}
bool is_visible(char c) {
  return c >= 33 && c <= 126;
}

}  // namespace

bool CodeReader::read(Unit& out) {
  if (code_.empty()) {
    return fail(Fault::kEmpty, 0);
  }
  if (code_.size() > limits::kUnitCodeBytesMax) {
    return fail(Fault::kTooLong, limits::kUnitCodeBytesMax);
  }
  const bool inverse = code_.front() == '/';
  if (inverse) {
    at_ = 1;
    note({Piece::Kind::kDivide});
    Unit first;
    out = Unit();
    if (!component(first, 0)) {
      return false;
    }
    if (first.is_special()) {
      return fail(Fault::kSpecialCombined, 0);
    }
    if (!Arithmetic::multiply(out, first, true)) {
      return fail(Fault::kTooLarge, 0);
    }
  } else if (!component(out, 0)) {
    return false;
  }
  if (!term(out, 0)) {
    return false;
  }
  return at_ == code_.size() || fail(Fault::kOperatorExpected, at_);
}

// The rest of a term whose first component is in `out`.
bool CodeReader::term(Unit& out, int depth) {
  while (at_ < code_.size() && (code_[at_] == '.' || code_[at_] == '/')) {
    const std::size_t sign = at_++;
    const bool inverse = code_[sign] == '/';
    note({inverse ? Piece::Kind::kDivide : Piece::Kind::kMultiply});
    Unit right;
    if (!component(right, depth)) {
      return false;
    }
    if (out.is_special() || right.is_special()) {
      return fail(Fault::kSpecialCombined, sign);
    }
    if (!Arithmetic::multiply(out, right, inverse)) {
      return fail(Fault::kTooLarge, sign);
    }
  }
  return true;
}

bool CodeReader::component(Unit& out, int depth) {
  if (at_ >= code_.size()) {
    return fail(Fault::kComponentExpected, at_);
  }
  if (code_[at_] == '{') {
    out = Unit();
    return annotation();
  }
  if (code_[at_] != '(') {
    return symbol(out);
  }
  const std::size_t open = at_++;
  if (depth >= limits::kUnitDepthMax) {
    return fail(Fault::kTooDeep, open);
  }
  note({Piece::Kind::kOpen});
  if (!component(out, depth + 1) || !term(out, depth + 1)) {
    return false;
  }
  if (at_ >= code_.size()) {
    return fail(Fault::kOpenParenthesis, open);
  }
  if (code_[at_] != ')') {
    return fail(Fault::kOperatorExpected, at_);
  }
  ++at_;
  note({Piece::Kind::kClose});
  return optional_annotation();
}

// Moves over the characters of a symbol or factor. Whatever stands in square brackets belongs to
// the symbol.
bool CodeReader::scan(std::size_t& end) {
  std::size_t i = at_;
  while (i < code_.size()) {
    if (class_of(code_[i]) != Class::kOther) {
      ++i;
      continue;
    }
    if (code_[i] != '[') {
      break;
    }
    const std::size_t open = i;
    while (i < code_.size() && code_[i] != ']') {
      if (!is_visible(code_[i])) {
        return fail(Fault::kBadCharacter, i);
      }
      ++i;
    }
    if (i == code_.size()) {
      return fail(Fault::kOpenBracket, open);
    }
    ++i;
  }
  end = i;
  return true;
}

bool CodeReader::symbol(Unit& out) {
  const std::size_t start = at_;
  std::size_t end = start;
  if (!scan(end)) {
    return false;
  }
  if (end == start) {
    const bool grammatical = std::string_view("./){}").find(code_[start]) != std::string_view::npos;
    return fail(grammatical ? Fault::kComponentExpected : Fault::kBadCharacter, start);
  }
  at_ = end;
  std::size_t digits = end;
  while (digits > start && is_digit(code_[digits - 1])) {
    --digits;
  }
  if (digits == start) {
    return factor(start, end, out) && optional_annotation();
  }
  int exponent = 1;
  std::size_t symbol_end = end;
  if (digits != end) {
    symbol_end = digits;
    exponent = 0;
    for (std::size_t i = digits; i < end; ++i) {
      exponent = std::min(exponent * 10 + (code_[i] - '0'), limits::kUnitExponentMax + 1);
    }
    const char sign = code_[digits - 1];
    if ((sign == '+' || sign == '-') && digits - start > 1) {
      --symbol_end;
      exponent = sign == '-' ? -exponent : exponent;
    }
    if (exponent > limits::kUnitExponentMax || exponent < -limits::kUnitExponentMax) {
      return fail(Fault::kBadExponent, digits);
    }
  }
  if (!atom(start, symbol_end, exponent, out)) {
    return false;
  }
  return optional_annotation();
}

bool CodeReader::atom(std::size_t start, std::size_t end, int exponent, Unit& out) {
  const std::string_view text = code_.substr(start, end - start);
  const Entry* const entry = rows_.find(text);
  if (entry == nullptr) {
    failure_ = {Fault::kUnknownSymbol, start, text};
    return false;
  }
  const Atom& row = rows_.atoms[entry->atom];
  if (!row.known) {
    failure_ = {Fault::kUndefinedSymbol, start, text};
    return false;
  }
  out = row.unit;
  if (entry->prefix != 0) {
    Arithmetic::apply_prefix(out, rows_.prefixes[entry->prefix - 1U].fact);
  }
  if (exponent != 1) {
    if (out.is_special()) {
      return fail(Fault::kSpecialCombined, end);
    }
    if (!Arithmetic::raise(out, exponent)) {
      return fail(Fault::kTooLarge, start);
    }
  }
  note({Piece::Kind::kSymbol, entry, exponent, {}});
  return true;
}

bool CodeReader::factor(std::size_t start, std::size_t end, Unit& out) {
  const std::string_view text = code_.substr(start, end - start);
  base::UInt128 value = 0;
  for (const char c : text) {
    value = value * 10 + static_cast<unsigned>(c - '0');
    if ((value >> 100) != 0) {
      return fail(Fault::kTooLarge, start);
    }
  }
  if (value == 0) {
    return fail(Fault::kZeroFactor, start);
  }
  note({Piece::Kind::kFactor, nullptr, 1, text});
  out = Unit();
  return Arithmetic::apply_factor(out, Magnitude::from_integer(value)) ||
         fail(Fault::kTooLarge, start);
}

bool CodeReader::optional_annotation() {
  return at_ >= code_.size() || code_[at_] != '{' || annotation();
}

bool CodeReader::annotation() {
  const std::size_t open = at_++;
  while (at_ < code_.size() && code_[at_] != '}') {
    if ((!is_visible(code_[at_]) && code_[at_] != ' ') || code_[at_] == '{') {
      return fail(Fault::kBadCharacter, at_);
    }
    ++at_;
  }
  if (at_ == code_.size()) {
    return fail(Fault::kOpenAnnotation, open);
  }
  note({Piece::Kind::kAnnotation, nullptr, 1, code_.substr(open + 1, at_ - open - 1)});
  ++at_;
  return true;
}

}  // namespace engine::ucum

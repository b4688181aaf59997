// Refusals in words, and what was probably meant: codes that people write instead of UCUM's, codes
// in the wrong case, and valid codes that say something else than they seem to. The lists are
// common practice, no source.

#include <algorithm>

#include "engine/ucum/arithmetic.h"
#include "engine/ucum/reader.h"

namespace engine::ucum {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

struct Mistake {
  std::string_view written;
  std::string_view meant;
};

// A symbol that is no UCUM symbol, and the code that replaces it. Lower case; looked up without
// regard to case when the exact form is not there.
constexpr Mistake kMistakes[] = {
    {"%o2", "%"},
    {"beats", "{beats}"},
    {"bpm", "/min"},
    {"breaths", "{breaths}"},
    {"br", "{breaths}"},
    {"brpm", "/min"},
    {"cc", "mL"},
    {"ccs", "mL"},
    {"celsius", "Cel"},
    {"centimeter", "cm"},
    {"centimeters", "cm"},
    {"cmh20", "cm[H2O]"},
    {"cmh2o", "cm[H2O]"},
    {"cm[h20]", "cm[H2O]"},
    {"cmhg", "cm[Hg]"},
    {"count", "1"},
    {"day", "d"},
    {"days", "d"},
    {"degc", "Cel"},
    {"degf", "[degF]"},
    {"degree", "deg"},
    {"degrees", "deg"},
    {"drop", "[drp]"},
    {"drops", "[drp]"},
    {"ea", "{each}"},
    {"each", "{each}"},
    {"fahrenheit", "[degF]"},
    {"feet", "[ft_i]"},
    {"foot", "[ft_i]"},
    {"ft.", "[ft_i]"},
    {"gm", "g"},
    {"gms", "g"},
    {"gram", "g"},
    {"grams", "g"},
    {"hour", "h"},
    {"hours", "h"},
    {"hr", "h"},
    {"hrs", "h"},
    {"in", "[in_i]"},
    {"inch", "[in_i]"},
    {"inches", "[in_i]"},
    {"inh2o", "[in_i'H2O]"},
    {"iu", "[iU]"},
    {"joule", "J"},
    {"joules", "J"},
    {"kg", "kg"},
    {"kgs", "kg"},
    {"kilogram", "kg"},
    {"kilograms", "kg"},
    {"kph", "km/h"},
    {"kmh", "km/h"},
    {"kmph", "km/h"},
    {"lb", "[lb_av]"},
    {"lbs", "[lb_av]"},
    {"liter", "L"},
    {"liters", "L"},
    {"litre", "L"},
    {"litres", "L"},
    {"lpm", "L/min"},
    {"mcg", "ug"},
    {"met", "[MET]"},
    {"meter", "m"},
    {"meters", "m"},
    {"metre", "m"},
    {"metres", "m"},
    {"mets", "[MET]"},
    {"mi", "[mi_i]"},
    {"mile", "[mi_i]"},
    {"miles", "[mi_i]"},
    {"minute", "min"},
    {"minutes", "min"},
    {"mins", "min"},
    {"mlpm", "mL/min"},
    {"mmhg", "mm[Hg]"},
    {"month", "mo"},
    {"months", "mo"},
    {"msec", "ms"},
    {"ounce", "[oz_av]"},
    {"ounces", "[oz_av]"},
    {"oz", "[oz_av]"},
    {"pct", "%"},
    {"percent", "%"},
    {"points", "{score}"},
    {"pound", "[lb_av]"},
    {"pounds", "[lb_av]"},
    {"ppb", "[ppb]"},
    {"ppm", "[ppm]"},
    {"psi", "[psi]"},
    {"repetitions", "{reps}"},
    {"reps", "{reps}"},
    {"rpm", "/min"},
    {"score", "{score}"},
    {"sec", "s"},
    {"second", "s"},
    {"seconds", "s"},
    {"secs", "s"},
    {"steps", "{steps}"},
    {"torr", "mm[Hg]"},
    {"watt", "W"},
    {"watts", "W"},
    {"week", "wk"},
    {"weeks", "wk"},
    {"yard", "[yd_i]"},
    {"yd", "[yd_i]"},
    {"year", "a"},
    {"years", "a"},
    {"yr", "a"},
    {"yrs", "a"},
};

constexpr Suspicion kSuspicions[] = {
    {"C", "coulomb, electric charge", "Cel"},
    {"F", "farad, electric capacitance", "[degF]"},
    {"ml", "millilitre, by the small letter l that looks like a one", "mL"},
    {"l", "litre, by the small letter l that looks like a one", "L"},
    {"l/min", "litres per minute, by the small letter l that looks like a one", "L/min"},
    {"ml/min", "millilitres per minute, by the small letter l that looks like a one", "mL/min"},
    {"B", "bel", "{beats}"},
    {"G", "gauss, magnetic flux density", "g"},
    {"H", "henry, inductance", "h"},
    {"S", "siemens, electric conductance", "s"},
    {"b", "barn, area of a nucleus", "{beats}"},
    {"ft", "femtotonne", "[ft_i]"},
    {"kt", "kilotonne", "[kn_i]"},
    {"mph", "milliphot, illuminance", "[mi_i]/h"},
    {"pH", "picohenry, inductance", "[pH]"},
    {"pt", "picotonne", "[pt_us]"},
    {"st", "stere, one cubic metre", "[stone_av]"},
};

char lower(char c) {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
}

bool same_letters(std::string_view a, std::string_view b) {
  return a.size() == b.size() && std::equal(a.begin(), a.end(), b.begin(),
                                            [](char x, char y) { return lower(x) == lower(y); });
}

// What should stand for a symbol that the table does not have; empty without a good guess.
std::string replacement(const Rows& rows, std::string_view symbol) {
  for (const Mistake& mistake : kMistakes) {
    if (same_letters(mistake.written, symbol)) {
      return std::string(mistake.meant);
    }
  }
  // The same letters in another case, when only one symbol has them. Unprefixed symbols first, then
  // those with a prefix of daily use.
  for (const bool prefixed : {false, true}) {
    std::string_view found;
    for (const Entry& entry : rows.entries) {
      if ((entry.prefix != 0) != prefixed) {
        continue;
      }
      if (prefixed && std::string_view("kdcmun").find(rows.prefixes[entry.prefix - 1U].symbol) ==
                          std::string_view::npos) {
        continue;
      }
      const std::string_view known = entry.key.text();
      if (same_letters(known, symbol)) {
        if (!found.empty()) {
          return {};
        }
        found = known;
      }
    }
    if (!found.empty()) {
      return std::string(found);
    }
  }
  // Arbitrary and customary units that lost their brackets: iU, in_i.
  std::string bracketed = "[" + std::string(symbol) + "]";
  return rows.find(bracketed) != nullptr ? bracketed : std::string();
}

std::string describe(const Failure& failure, std::string_view code) {
  const auto quoted = [](std::string_view text) { return "'" + std::string(text) + "'"; };
  switch (failure.fault) {
    case Fault::kNone:
    case Fault::kEmpty:
      return "no unit at all; a quantity without a unit has the code 1";
    case Fault::kTooLong:
      return "a unit code of more than 256 characters";
    case Fault::kTooDeep:
      return "parentheses nested deeper than 16";
    case Fault::kTooLarge:
      return "a unit whose size is beyond what can be computed with";
    case Fault::kBadCharacter:
      return "a character that no unit code may hold (letters, digits and signs of ASCII only, no "
             "blank)";
    case Fault::kUnknownSymbol:
    case Fault::kUndefinedSymbol:
      return quoted(failure.symbol) + " is no UCUM unit";
    case Fault::kComponentExpected:
      return failure.at >= code.size() ? "the code ends where a unit is expected"
                                       : "a unit, a number, '{' or '(' is expected here";
    case Fault::kOperatorExpected:
      return "'.', '/' or the end of the code is expected here";
    case Fault::kOpenParenthesis:
      return "this parenthesis is never closed";
    case Fault::kOpenBracket:
      return "this square bracket is never closed";
    case Fault::kOpenAnnotation:
      return "this brace is never closed";
    case Fault::kZeroFactor:
      return "a unit cannot be zero times something";
    case Fault::kBadExponent:
      return "an exponent beyond 9999";
    case Fault::kSpecialCombined:
      return "a unit with a scale of its own (such as Cel, [degF] or [pH]) stands alone; a "
             "difference "
             "of temperatures is measured in K";
  }
  return "no unit";
}

// "12h" is meant as 12.h.
std::string with_dot(std::string_view symbol) {
  std::size_t digits = 0;
  while (digits < symbol.size() && symbol[digits] >= '0' && symbol[digits] <= '9') {
    ++digits;
  }
  if (digits == 0 || digits == symbol.size()) {
    return {};
  }
  return std::string(symbol.substr(0, digits)) + '.' + std::string(symbol.substr(digits));
}

}  // namespace

std::string UnitTable::suggest(std::string_view code) const {
  constexpr int kRepairsMax = 4;
  std::string guess(code.substr(0, base::limits::kUnitCodeBytesMax));
  // Degree and micro signs are the usual ones beyond ASCII.
  static constexpr Mistake kSigns[] = {{"\u00B0C", "Cel"},
                                       {"\u00B0F", "[degF]"},
                                       {"\u00B0", "deg"},
                                       {"\u00B5", "u"},   // micro sign
                                       {"\u03BC", "u"}};  // Greek mu
  for (const Mistake& sign : kSigns) {
    if (const std::size_t at = guess.find(sign.written); at != std::string::npos) {
      guess.replace(at, sign.written.size(), sign.meant);
    }
  }
  if (guess.find('{') == std::string::npos) {
    std::erase(guess, ' ');
  }
  for (int repair = 0; repair <= kRepairsMax; ++repair) {
    CodeReader reader(*rows_, guess);
    Unit unit;
    if (reader.read(unit)) {
      return guess == code ? std::string() : guess;
    }
    const Failure& failure = reader.failure();
    if (failure.fault != Fault::kUnknownSymbol) {
      return {};
    }
    // The exponent may be part of the mistake: cmH20.
    std::size_t end = failure.at + failure.symbol.size();
    while (end < guess.size() && guess[end] >= '0' && guess[end] <= '9') {
      ++end;
    }
    const std::string_view whole = std::string_view(guess).substr(failure.at, end - failure.at);
    std::size_t replaced = whole.size();
    std::string better = replacement(*rows_, whole);
    if (better.empty()) {
      replaced = failure.symbol.size();
      better = replacement(*rows_, failure.symbol);
    }
    if (better.empty()) {
      better = with_dot(failure.symbol);
      if (!better.empty() && failure.at > 0 && guess[failure.at - 1] == '/') {
        better = "(" + better + ")";
      }
    }
    if (better.empty() || (better.front() == '/' && failure.at > 0)) {
      return {};
    }
    guess.replace(failure.at, replaced, better);
  }
  return {};
}

Result<Unit> UnitTable::parse(std::string_view code) const {
  CodeReader reader(*rows_, code);
  Unit unit;
  if (reader.read(unit)) {
    return unit;
  }
  const Failure& failure = reader.failure();
  std::string detail = describe(failure, code);
  if (const std::string better = suggest(code); !better.empty()) {
    detail += "; write " + better;
  }
  const bool limit = failure.fault == Fault::kTooLong || failure.fault == Fault::kTooDeep ||
                     failure.fault == Fault::kTooLarge || failure.fault == Fault::kBadExponent;
  return Error{limit ? ErrorCode::kLimit : ErrorCode::kInvalid, std::move(detail),
               "character " + std::to_string(failure.at + 1)};
}

Result<void> UnitTable::validate(std::string_view code) const {
  if (is_valid(code)) {
    return {};
  }
  return parse(code).error();
}

const Suspicion* suspect(std::string_view code) {
  for (const Suspicion& suspicion : kSuspicions) {
    if (suspicion.code == code) {
      return &suspicion;
    }
  }
  return nullptr;
}

}  // namespace engine::ucum

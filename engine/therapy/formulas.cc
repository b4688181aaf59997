#include "engine/therapy/formulas.h"

#include <cstddef>

#include "engine/therapy/transcendental.h"

namespace engine::therapy {
namespace {

using base::Decimal;

Decimal decimal(std::int64_t coefficient, int exponent) {
  return {base::Int128{coefficient}, exponent};
}

Decimal times(const Decimal& a, const Decimal& b) {
  return Decimal::multiply(a, b).value_or(Decimal());
}
Decimal plus(const Decimal& a, const Decimal& b) {
  return Decimal::add(a, b).value_or(Decimal());
}
Decimal minus(const Decimal& a, const Decimal& b) {
  return plus(a, b.negated());
}

bool within(const std::optional<Decimal>& value, std::int64_t low, std::int64_t high) {
  return value && *value >= Decimal::from_int(low) && *value <= Decimal::from_int(high);
}

}  // namespace

std::optional<Fraction> inspired_fraction(std::string_view device,
                                          const std::optional<Decimal>& flow,
                                          const std::optional<Decimal>& set_percent) {
  if (device == "room-air") {
    return Fraction{decimal(21, -2), {}, {}, false, "Room air, 0.21"};
  }
  if (set_percent) {
    const auto fraction = Decimal::divide(*set_percent, Decimal::from_int(100), 4);
    return Fraction{fraction, {}, {}, false, "As set at the device"};
  }
  if (device == "nasal-cannula" && within(flow, 1, 6)) {
    const Decimal fraction = plus(decimal(20, -2), times(decimal(4, -2), *flow));
    return Fraction{fraction.rounded(2), {}, {}, true, "0.20 + 0.04 x flow, nasal cannula, v1"};
  }
  if (device == "simple-mask" && within(flow, 5, 10)) {
    return Fraction{{}, decimal(35, -2), decimal(60, -2), true, "Range of simple masks, v1"};
  }
  if (device == "reservoir-mask" && within(flow, 10, 15)) {
    return Fraction{{}, decimal(60, -2), decimal(90, -2), true, "Range of reservoir masks, v1"};
  }
  return std::nullopt;
}

std::optional<Decimal> saturation_fraction_ratio(const Decimal& saturation,
                                                 const Decimal& fraction) {
  if (saturation > Decimal::from_int(97)) {
    return std::nullopt;
  }
  const auto ratio = Decimal::divide(saturation, fraction, 6);
  return ratio ? std::optional<Decimal>(ratio->with_scale(1)) : std::nullopt;
}

std::optional<Decimal> estimated_pf_ratio(const Decimal& sf_ratio) {
  const auto ratio = Decimal::divide(minus(sf_ratio, Decimal::from_int(64)), decimal(84, -2), 6);
  return ratio ? std::optional<Decimal>(ratio->rounded(0)) : std::nullopt;
}

std::optional<Decimal> rox_index(const Decimal& saturation, const Decimal& fraction,
                                 const Decimal& breathing_rate) {
  const auto ratio = Decimal::divide(saturation, times(fraction, breathing_rate), 8);
  return ratio ? std::optional<Decimal>(ratio->with_scale(2)) : std::nullopt;
}

std::optional<Decimal> percent_of(const Decimal& part, const Decimal& whole) {
  const auto percent = Decimal::divide(times(part, Decimal::from_int(100)), whole, 8);
  return percent ? std::optional<Decimal>(percent->with_scale(1)) : std::nullopt;
}

std::optional<Decimal> predicted_heart_rate(std::string_view formula, int age) {
  if (formula == "220-age") {
    return minus(Decimal::from_int(220), Decimal::from_int(age));
  }
  if (formula == "208-0.7*age") {
    return minus(Decimal::from_int(208), times(decimal(7, -1), Decimal::from_int(age)));
  }
  return std::nullopt;
}

std::optional<Decimal> predicted_walk(bool male, int age, const Decimal& height_cm,
                                      const Decimal& weight_kg) {
  if (age < 40 || age > 80) {
    return std::nullopt;
  }
  const Decimal years = Decimal::from_int(age);
  if (male) {
    // 7.57 x cm - 5.02 x age - 1.76 x kg - 309
    Decimal metres = times(decimal(757, -2), height_cm);
    metres = minus(metres, times(decimal(502, -2), years));
    metres = minus(metres, times(decimal(176, -2), weight_kg));
    return minus(metres, Decimal::from_int(309)).with_scale(1);
  }
  // 2.11 x cm - 2.29 x kg - 5.78 x age + 667
  Decimal metres = times(decimal(211, -2), height_cm);
  metres = minus(metres, times(decimal(229, -2), weight_kg));
  metres = minus(metres, times(decimal(578, -2), years));
  return plus(metres, Decimal::from_int(667)).with_scale(1);
}

std::optional<Decimal> predicted_peak_flow(bool male, int age, const Decimal& height_cm) {
  if (age < 18 || age > 70 || !within(height_cm, male ? 155 : 145, male ? 195 : 180)) {
    return std::nullopt;
  }
  const Decimal years = Decimal::from_int(age < 25 ? 25 : age);
  const Decimal metres = times(height_cm, decimal(1, -2));
  // L/s: men 6.14 H - 0.043 A + 0.15, women 5.50 H - 0.030 A - 1.11
  Decimal flow = times(decimal(male ? 614 : 550, -2), metres);
  flow = minus(flow, times(decimal(male ? 43 : 30, -3), years));
  flow = plus(flow, decimal(male ? 15 : -111, -2));
  return times(flow, Decimal::from_int(60)).with_scale(0);
}

namespace {

// The spline's rows in ten-thousandths, at ages 20, 25 ... 80.
constexpr std::array<int, 13> kSplineMen = {-316, 376, 765,  898,   865,   758,  611,
                                            394,  59,  -435, -1097, -1885, -2748};
constexpr std::array<int, 13> kSplineWomen = {-456, 175, 533,  656,  642,   588,  535,
                                              442,  208, -222, -824, -1543, -2317};

Decimal spline_at(const std::array<int, 13>& rows, int age) {
  const std::size_t index = static_cast<std::size_t>((age - 20) / 5);
  const int rest = (age - 20) % 5;
  const int low = rows[index];
  const int high = rest == 0 ? low : rows[index + 1];
  // In hundred-thousandths, so that a fifth is exact.
  return decimal(low * 10 + (high - low) * 2 * rest, -5);
}

struct Coefficients {
  Decimal constant;
  Decimal age;
  Decimal height;
  Decimal spread;
  Decimal spread_age;
  Decimal skew;
};

}  // namespace

std::optional<PredictedVolume> predicted_inspiratory_capacity(bool male, int age,
                                                              const Decimal& height_cm) {
  const auto log_height = natural_log(height_cm);
  if (age < 20 || age > 80 || !log_height) {
    return std::nullopt;
  }
  const Coefficients c =
      male ? Coefficients{decimal(-10121688, -6), decimal(1265, -6), decimal(2188801, -6),
                          decimal(-1856546, -6),  decimal(2008, -6), decimal(1146, -3)}
           : Coefficients{decimal(-94438787, -7), decimal(-2484, -7), decimal(20312769, -7),
                          decimal(-1775276, -6),  decimal(2673, -6),  decimal(9726, -4)};
  const Decimal years = Decimal::from_int(age);
  Decimal log_median = plus(c.constant, times(c.age, years));
  log_median = plus(log_median, times(c.height, *log_height));
  log_median = plus(log_median, spline_at(male ? kSplineMen : kSplineWomen, age));
  const auto median = exponential(log_median);
  const auto spread = exponential(plus(c.spread, times(c.spread_age, years)));
  if (!median || !spread) {
    return std::nullopt;
  }
  // lower limit = exp(ln M + ln(1 - 1.645 L S) / L)
  const Decimal inner =
      minus(Decimal::from_int(1), times(times(decimal(1645, -3), c.skew), *spread));
  const auto log_inner = natural_log(inner);
  const auto share = log_inner ? Decimal::divide(*log_inner, c.skew, 20) : std::nullopt;
  const auto lower = share ? exponential(plus(log_median, *share)) : std::nullopt;
  if (!lower) {
    return std::nullopt;
  }
  return PredictedVolume{median->with_scale(2), lower->with_scale(2)};
}

int timed_units(int minutes) {
  constexpr int kLeastMinutes = 8;
  constexpr int kUnitMinutes = 15;
  return minutes < kLeastMinutes ? 0 : (minutes + 7) / kUnitMinutes;
}

namespace {

// One row of the chart: up to and including `high`, the score is `score`.
struct Step {
  int high;
  int score;
};

template <std::size_t N>
int score_of(const Decimal& value, const std::array<Step, N>& steps, int beyond) {
  for (const Step& step : steps) {
    if (value <= Decimal::from_int(step.high)) {
      return step.score;
    }
  }
  return beyond;
}

constexpr std::array<Step, 4> kRespiration = {{{8, 3}, {11, 1}, {20, 0}, {24, 2}}};
constexpr std::array<Step, 3> kSaturationOne = {{{91, 3}, {93, 2}, {95, 1}}};
constexpr std::array<Step, 6> kSaturationTwo = {
    {{83, 3}, {85, 2}, {87, 1}, {92, 0}, {94, 1}, {96, 2}}};
constexpr std::array<Step, 4> kSystolic = {{{90, 3}, {100, 2}, {110, 1}, {219, 0}}};
constexpr std::array<Step, 5> kPulse = {{{40, 3}, {50, 1}, {90, 0}, {110, 1}, {130, 2}}};
constexpr std::array<Step, 4> kTemperatureTenths = {{{350, 3}, {360, 1}, {380, 0}, {390, 1}}};

}  // namespace

News2Score news2(const News2Reading& reading, int scale) {
  News2Score score;
  score.respiration = score_of(reading.breathing_rate, kRespiration, 3);
  if (scale == 2) {
    const bool high_on_air = !reading.on_oxygen && reading.saturation >= Decimal::from_int(93);
    score.saturation = high_on_air ? 0 : score_of(reading.saturation, kSaturationTwo, 3);
  } else {
    score.saturation = score_of(reading.saturation, kSaturationOne, 0);
  }
  score.oxygen = reading.on_oxygen ? 2 : 0;
  score.systolic = score_of(reading.systolic, kSystolic, 3);
  score.pulse = score_of(reading.pulse, kPulse, 3);
  score.consciousness = reading.alert ? 0 : 3;
  const Decimal tenths = times(reading.temperature.rounded(1), Decimal::from_int(10));
  score.temperature = score_of(tenths, kTemperatureTenths, 2);
  return score;
}

}  // namespace engine::therapy

#include "engine/journal/retention.h"

#include <algorithm>
#include <array>
#include <charconv>

#include "engine/base/limits.h"
#include "engine/base/seams.h"

namespace engine::journal {
namespace {

constexpr int kYears = base::limits::kRetentionYearsMax;
struct UnitRow {
  std::string_view one;
  std::string_view many;
  Retention::Unit unit;
  int most;
};
constexpr std::array<UnitRow, 3> kUnits = {
    {{"day", "days", Retention::Unit::kDays, kYears * 365},
     {"month", "months", Retention::Unit::kMonths, kYears * 12},
     {"year", "years", Retention::Unit::kYears, kYears}}};

}  // namespace

base::Result<Retention> parse_retention(std::string_view text) {
  Retention out;
  const char* const end = text.data() + text.size();
  const auto [rest, error] = std::from_chars(text.data(), end, out.count);
  if (error == std::errc() && rest != end && *rest == ' ') {
    const std::string_view unit(rest + 1, static_cast<std::size_t>(end - rest - 1));
    for (const UnitRow& row : kUnits) {
      if ((unit == row.one || unit == row.many) && out.count >= 1 && out.count <= row.most) {
        out.unit = row.unit;
        return out;
      }
    }
  }
  return base::Error(base::ErrorCode::kInvalid,
                     "how long bodies are kept is written as \"10 years\", \"18 months\" or \"90 "
                     "days\", a century at most",
                     std::string(text));
}

std::string cutoff_of(const Retention& retention, std::chrono::system_clock::time_point now) {
  using std::chrono::days;
  using std::chrono::months;
  using std::chrono::years;
  using Unit = Retention::Unit;
  if (retention.unit == Unit::kDays) {
    return base::to_instant(now - days(retention.count));
  }
  const auto day = std::chrono::floor<days>(now);
  std::chrono::year_month_day date(day);
  date = retention.unit == Unit::kYears ? date - years(retention.count)
                                        : date - months(retention.count);
  if (!date.ok()) {
    date = date.year() / date.month() / std::chrono::last;
  }
  return base::to_instant(std::chrono::sys_days(date) + (now - day));
}

bool is_instant(std::string_view text) {
  constexpr std::string_view kShape = "0000-00-00T00:00:00.000Z";
  return text.size() == kShape.size() &&
         std::equal(text.begin(), text.end(), kShape.begin(), [](char c, char shape) {
           return shape == '0' ? c >= '0' && c <= '9' : c == shape;
         });
}

bool is_believable(std::string_view believed, std::chrono::system_clock::time_point now) {
  return base::to_instant(now - base::limits::kClockStepMax) <= believed;
}

}  // namespace engine::journal

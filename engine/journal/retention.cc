#include "engine/journal/retention.h"

#include <algorithm>
#include <array>
#include <charconv>

#include "engine/base/limits.h"
#include "engine/base/seams.h"
#include "engine/journal/words.h"

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

// A step that is not worth a write.
constexpr std::chrono::minutes kNearly{30};
constexpr std::string_view kThrough = " through ";

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

void ClockBelief::read(const Record& record) {
  if (record.kind == Kind::kExpired && is_of_command(record.actor) && is_instant(record.time)) {
    at_ = std::max(at_, record.time);
  }
  through_ = record.position;
}

bool ClockBelief::believes(std::chrono::system_clock::time_point now,
                           std::chrono::steady_clock::time_point steady) {
  if (base::to_instant(now + kNearly) < at_) {
    behind_since_ = behind_since_.value_or(steady);
    if (steady - *behind_since_ >= base::limits::kRetentionLook) {
      at_ = base::to_instant(now);
      behind_since_.reset();
    }
    return true;
  }
  behind_since_.reset();
  if (!is_believable(at_, now)) {
    return false;
  }
  if (base::to_instant(now - kNearly) > at_) {
    at_ = base::to_instant(now);
  }
  return true;
}

std::string ClockBelief::print() const {
  return at_ + std::string(kThrough) + std::to_string(through_) + "\n";
}

std::optional<ClockBelief> ClockBelief::parse(std::string_view line) {
  const std::string_view text = line.substr(0, line.find('\n'));
  const std::string_view at = text.substr(0, text.find(' '));
  const std::string_view rest = text.substr(at.size());
  if (text.size() + 1 != line.size() || !is_instant(at)) {
    return std::nullopt;
  }
  Position through = 0;
  if (rest.empty()) {
    return ClockBelief(std::string(at));
  }
  const char* const end = rest.data() + rest.size();
  const char* const number = rest.data() + std::min(kThrough.size(), rest.size());
  const auto [stop, problem] = std::from_chars(number, end, through);
  if (!rest.starts_with(kThrough) || problem != std::errc() || stop != end) {
    return std::nullopt;
  }
  return ClockBelief(std::string(at), through);
}

}  // namespace engine::journal

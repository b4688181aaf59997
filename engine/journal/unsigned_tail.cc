#include "engine/journal/unsigned_tail.h"

#include <charconv>

#include "engine/base/seams.h"
#include "engine/journal/retention.h"
#include "engine/journal/store.h"

namespace engine::journal {
namespace {

// Several times kHeadPause: a disk may be slow, and an engine that reads a long log for the first
// time signs behind it.
constexpr std::chrono::minutes kSignedWithin{5};

// Only an engine writes these, and only while it signs.
bool is_of_an_engine(Kind kind) {
  return kind == Kind::kChecked || kind == Kind::kDispatched || kind == Kind::kAnswered ||
         kind == Kind::kLanded || kind == Kind::kNoticed;
}

// Of a time as base::to_instant() writes it.
std::chrono::sys_time<std::chrono::milliseconds> time_of(std::string_view text) {
  const auto number = [text](std::size_t at, std::size_t digits) {
    int out = 0;
    std::from_chars(text.data() + at, text.data() + at + digits, out);
    return out;
  };
  const std::chrono::year_month_day day(std::chrono::year(number(0, 4)),
                                        std::chrono::month(static_cast<unsigned>(number(5, 2))),
                                        std::chrono::day(static_cast<unsigned>(number(8, 2))));
  return std::chrono::sys_days(day) + std::chrono::hours(number(11, 2)) +
         std::chrono::minutes(number(14, 2)) + std::chrono::seconds(number(17, 2)) +
         std::chrono::milliseconds(number(20, 3));
}

}  // namespace

void UnsignedTail::add(const Record& record) {
  if (record.kind == Kind::kStarted) {
    shared_ = shared_ || record.reason == kSharedStart;
    first_.clear();  // a run that was killed has its last minute unsigned
  } else if (record.kind == Kind::kStopped) {
    stopped_ = record.position;
  } else if (is_of_an_engine(record.kind) && is_instant(record.time)) {
    if (first_.empty()) {
      first_ = record.time;
    } else if (time_of(record.time) - time_of(first_) > kSignedWithin) {
      long_ = record.position;
    }
  }
}

void UnsignedTail::clear() {
  stopped_ = 0;
  long_ = 0;
  first_.clear();
}

std::string UnsignedTail::why() const {
  const Position position = stopped_ != 0 && !shared_ ? stopped_ : long_;
  if (position == 0) {
    return {};
  }
  return "record " + std::to_string(position) +
         (position == stopped_ ? " says that an engine ended, which signs a head then"
                               : " was written by an engine long after the newest head, and it "
                                 "signs once a minute") +
         ": heads were taken away, or could not be written, or nobody with the key ever had these "
         "records";
}

}  // namespace engine::journal

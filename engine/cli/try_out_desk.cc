#include "engine/cli/try_out_desk.h"

#include <chrono>
#include <exception>
#include <utility>

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

// A person waits for each: more of them would not.
constexpr std::size_t kWaitingMax = 8;
// A person waits, and can go on from where it ended.
constexpr std::chrono::seconds kTrafficTime{12};

}  // namespace

web::TryOutControl TryOutDesk::control() {
  return {[this] { return files_in_force(world_.sets); },
          [this](std::string_view name) { return file_in_force(world_.sets, name); },
          [this](web::TryOutWish wish, Told told) { ask(std::move(wish), std::move(told)); }};
}

bool TryOutDesk::stop(std::chrono::milliseconds time) {
  stopping_ = true;
  return worker_.stop_within(time);
}

void TryOutDesk::ask(web::TryOutWish wish, Told told) {
  if (++waiting_ > kWaitingMax) {
    --waiting_;
    told(Error(ErrorCode::kLimit, "others are trying maps out; try again in a moment"));
    return;
  }
  const bool taken = worker_.run("", [this, wish = std::move(wish), told = std::move(told)] {
    told(run_guarded(wish));
    --waiting_;
  });
  if (!taken) {
    --waiting_;
  }
}

// Whoever waits is answered, also when what they try takes more memory than there is.
Result<web::TryOutTold> TryOutDesk::run_guarded(const web::TryOutWish& wish) {
  try {
    return run(wish);
  } catch (const std::exception&) {
    return Error(ErrorCode::kLimit, "this takes more memory than a trial may");
  }
}

Result<web::TryOutTold> TryOutDesk::run(const web::TryOutWish& wish) {
  auto trial = compile_trial(world_.sets, wish.files, std::move(last_));
  if (!trial) {
    return std::move(trial).error();
  }
  last_ = *trial;
  if (last_->translator == nullptr) {
    return told_problems(*last_);
  }
  if (!wish.traffic) {
    return try_document(*last_, world_.store, wish, base::to_instant(world_.clock.now()));
  }
  const auto until = world_.clock.steady() + kTrafficTime;
  return try_traffic(*last_, world_.store, world_.apart, wish,
                     [&] { return stopping_ || world_.clock.steady() >= until; });
}

}  // namespace engine::cli

#include "engine/cli/given_words.h"

#include <algorithm>
#include <array>
#include <chrono>
#include <cstddef>
#include <cstdio>
#include <string_view>

#include <pwd.h>
#include <unistd.h>

#include "engine/fhir/primitives.h"
#include "engine/journal/words.h"
#include "engine/therapy/clock_text.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

// Of the account that runs this; "" when the system has no plain name for it.
std::string account() {
  std::array<char, 16 * 1024> room{};
  passwd entry{};
  passwd* found = nullptr;
  if (::getpwuid_r(::getuid(), &entry, room.data(), room.size(), &found) != 0 || found == nullptr) {
    return {};
  }
  const std::string name(found->pw_name);
  const bool plain = std::all_of(
      name.begin(), name.end(), [](char c) { return c > ' ' && c < 0x7F && c != '(' && c != ')'; });
  return plain ? name : std::string();
}

}  // namespace

Result<std::string> utc_of(const std::string& instant) {
  if (instant.empty()) {
    return std::string();
  }
  const Error bad(ErrorCode::kInvalid,
                  "write an instant such as 2026-03-02T08:00:00Z or 2026-03-02T09:00:00+01:00",
                  instant);
  const auto moment = fhir::primitive_fault(fhir::Primitive::kInstant, instant) == nullptr
                          ? therapy::parse_moment(instant)
                          : std::nullopt;
  if (!moment) {
    return bad;
  }
  const std::chrono::sys_time<std::chrono::milliseconds> time{
      std::chrono::milliseconds(moment->milliseconds)};
  const auto midnight = std::chrono::floor<std::chrono::days>(time);
  const std::chrono::year_month_day day(midnight);
  const std::chrono::hh_mm_ss clock(time - midnight);
  const int year = static_cast<int>(day.year());
  if (year < 1 || year > 9999) {
    return bad;  // an offset took it out of what four digits can say
  }
  std::array<char, 40> text{};
  std::snprintf(text.data(), text.size(), "%04d-%02u-%02uT%02d:%02d:%02d.%03dZ", year,
                static_cast<unsigned>(day.month()), static_cast<unsigned>(day.day()),
                static_cast<int>(clock.hours().count()), static_cast<int>(clock.minutes().count()),
                static_cast<int>(clock.seconds().count()),
                static_cast<int>(clock.subseconds().count()));
  return std::string(text.data());
}

Result<void> put_in_utc(std::string& since, std::string& until) {
  for (std::string* one : {&since, &until}) {
    auto utc = utc_of(*one);
    if (!utc) {
      return std::move(utc).error();
    }
    *one = std::move(*utc);
  }
  return {};
}

Result<void> check_identifier(const std::string& text, const char* whose) {
  const std::size_t bar = text.find('|');
  if (text.empty() || (bar != std::string::npos && bar + 1 < text.size())) {
    return {};
  }
  return Error(ErrorCode::kInvalid,
               std::string("a ") + whose + " is given as SYSTEM|VALUE, with a bar between");
}

std::string account_name() {
  const std::string name = account();
  return "user " + (name.empty() ? std::to_string(::getuid()) : name);
}

Result<std::string> actor_of(const std::string& name) {
  if (!journal::says_something(name)) {
    return Error(ErrorCode::kInvalid, "say who you are; it is kept");
  }
  if (auto good = journal::check_line(name); !good) {
    return good.error();
  }
  return journal::command_actor(name, ::getuid(), account());
}

}  // namespace engine::cli

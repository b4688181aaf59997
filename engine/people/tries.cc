#include "engine/people/tries.h"

#include <algorithm>
#include <utility>

#include "engine/base/hash.h"
#include "engine/base/network.h"

namespace engine::people {
namespace {

// No address holds a line end: the pair of another name and address is another text.
std::string pair_of(std::string_view name, std::string_view address) {
  return std::string(name).append("\n").append(address);
}

}  // namespace

Tries::Tries(std::string salt) : salt_(std::move(salt)) {}

// Its count is that of the window that `now` lies in.
Tries::Counter& Tries::of(Counters& counters, std::string_view what, Time now) {
  const base::Digest digest = base::sha256(std::string(salt_).append(what));
  std::size_t number = 0;
  for (std::size_t i = 0; i < sizeof number; ++i) {
    number = number << 8U | digest[i];
  }
  Counter& counter = counters[number % counters.size()];
  if (counter.count == 0 || now >= counter.since + base::limits::kTriesWindow) {
    counter = {now, 0};
  }
  return counter;
}

std::optional<std::chrono::seconds> Tries::begin(std::string_view name, std::string_view from,
                                                 Time now) {
  const std::string address = base::network_of(from);
  const std::pair<Counter*, std::uint32_t> bounds[] = {
      {&of(pairs_, pair_of(name, address), now), base::limits::kTriesOfPairMax},
      {&of(names_, name, now), base::limits::kTriesOfNameMax},
      {&of(addresses_, address, now), base::limits::kTriesOfAddressMax}};
  for (const auto& [counter, most] : bounds) {
    if (counter->count >= most) {
      const auto left = counter->since + base::limits::kTriesWindow - now;
      return std::chrono::ceil<std::chrono::seconds>(left);
    }
  }
  for (const auto& [counter, most] : bounds) {
    ++counter->count;
  }
  return std::nullopt;
}

void Tries::forgive(std::string_view name, std::string_view from, Time now) {
  const std::string address = base::network_of(from);
  for (Counter* counter : {&of(pairs_, pair_of(name, address), now), &of(names_, name, now),
                           &of(addresses_, address, now)}) {
    counter->count -= std::min<std::uint32_t>(counter->count, 1);
  }
}

}  // namespace engine::people

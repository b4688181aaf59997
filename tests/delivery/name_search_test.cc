// Where a host is. No name server is asked; one that does not answer is played.

#include "engine/delivery/name_search.h"

#include <algorithm>
#include <future>

#include <dlfcn.h>
#include <gtest/gtest.h>
#include <netdb.h>

namespace {

constexpr const char* kSilent = "silent.invalid";
std::promise<void> silent_asked;  // for this name
std::promise<void> silent_ended;

}  // namespace

// Stands before the system's.
extern "C" int getaddrinfo(const char* host, const char* service, const addrinfo* hints,
                           addrinfo** found) {
  if (host != nullptr && std::string(host) == kSilent) {
    silent_asked.set_value();
    silent_ended.get_future().wait();
    return EAI_AGAIN;
  }
  using Search = decltype(&getaddrinfo);
  // What dlsym() finds has no other type.
  static const auto system = reinterpret_cast<Search>(dlsym(RTLD_NEXT, "getaddrinfo"));
  return system(host, service, hints, found);
}

namespace engine::delivery {
namespace {

NameSearch::Found find(AsioLoop& loop, NameSearch& names) {
  std::promise<NameSearch::Found> said;
  loop.post(
      [&] { names.find([&said](const NameSearch::Found& found) { said.set_value(found); }); });
  return said.get_future().get();
}

TEST(NameSearch, AnAddressIsNotSearchedFor) {
  AsioLoop loop;
  for (const char* host : {"127.0.0.1", "::1"}) {
    NameSearch names(loop, host);
    bool heard = false;
    names.find([&](const NameSearch::Found& found) {
      heard = true;
      EXPECT_EQ(found.addresses, std::vector<std::string>{host});
    });
    EXPECT_TRUE(heard) << "at once";
  }
  loop.stop();
}

TEST(NameSearch, FindsThisMachineAgainAndAgain) {
  AsioLoop loop;
  NameSearch names(loop, "localhost");
  for (int i = 0; i < 3; ++i) {
    const NameSearch::Found found = find(loop, names);
    EXPECT_EQ(found.trouble, "");
    EXPECT_TRUE(std::any_of(found.addresses.begin(), found.addresses.end(),
                            [](const auto& one) { return one == "127.0.0.1" || one == "::1"; }));
  }
  loop.stop();
}

TEST(NameSearch, TellsNobodyWhatItFoundOnceItWasLeft) {
  AsioLoop loop;
  NameSearch names(loop, "localhost");
  names.leave();
  EXPECT_NE(find(loop, names).trouble, "");
  loop.stop();
}

TEST(NameSearch, ASearchThatHangsHoldsUpNoEnd) {
  AsioLoop loop;
  auto names = std::make_unique<NameSearch>(loop, kSilent);
  loop.post([&] { names->find([](const NameSearch::Found&) {}); });
  silent_asked.get_future().wait();
  loop.stop();
  auto gone = std::async(std::launch::async, [&] { names.reset(); });
  EXPECT_EQ(gone.wait_for(std::chrono::seconds(5)), std::future_status::ready);
  silent_ended.set_value();
}

TEST(NameSearch, GoesWhileOneIsUnderWay) {
  AsioLoop loop;
  {
    NameSearch names(loop, "localhost");
    loop.post([&] { names.find([](const NameSearch::Found&) {}); });
    find(loop, names);
    loop.post([&] { names.find([](const NameSearch::Found&) {}); });
    loop.stop();
  }
}

}  // namespace
}  // namespace engine::delivery

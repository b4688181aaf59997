// Where a host is. What hangs in the system's search is not played here: no name server is asked.

#include "engine/delivery/name_search.h"

#include <algorithm>
#include <future>

#include <gtest/gtest.h>

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

#include "engine/base/network.h"

#include <gtest/gtest.h>

namespace engine::base {
namespace {

TEST(Network, IsTheAddressOrTheFirstHalfOfIt) {
  struct Row {
    const char* address;
    const char* network;
  };
  static constexpr Row kRows[] = {
      {"192.0.2.1", "192.0.2.1"},
      {"::ffff:192.0.2.1", "192.0.2.1"},
      {"2001:db8::1", "2001:db8::/64"},
      {"2001:db8:0:0:ffff::1", "2001:db8::/64"},
      {"2001:db8:0:1::1", "2001:db8:0:1::/64"},
      {"fe80::1%eth0", "fe80::/64"},
      {"::1", "::/64"},
      {"", ""},
      {"nowhere", "nowhere"},
      {"1:2:3", "1:2:3"},
  };
  for (const Row& row : kRows) {
    EXPECT_EQ(network_of(row.address), row.network) << row.address;
  }
}

}  // namespace
}  // namespace engine::base

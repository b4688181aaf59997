#include "engine/cli/descriptors.h"

#include <gtest/gtest.h>
#include <sys/resource.h>

#include "engine/base/limits.h"

namespace engine::cli {
namespace {

TEST(Descriptors, AreRaisedToWhatTheSystemAllows) {
  rlimit before{};
  ASSERT_EQ(::getrlimit(RLIMIT_NOFILE, &before), 0);
  rlimit low = before;
  low.rlim_cur = 64;
  ASSERT_EQ(::setrlimit(RLIMIT_NOFILE, &low), 0);
  EXPECT_EQ(raise_descriptors(), before.rlim_max);
  rlimit after{};
  ASSERT_EQ(::getrlimit(RLIMIT_NOFILE, &after), 0);
  EXPECT_EQ(after.rlim_cur, before.rlim_max);
  ::setrlimit(RLIMIT_NOFILE, &before);
}

TEST(Descriptors, AreNeverAllTakenByConnections) {
  constexpr std::size_t kMost = base::limits::kConnectionsMax;
  EXPECT_EQ(connections_with(1'048'576), kMost);
  EXPECT_EQ(connections_with(kMost + base::limits::kDescriptorsReserve), kMost);
  EXPECT_EQ(connections_with(kMost + base::limits::kDescriptorsReserve - 1), kMost - 1);
  EXPECT_EQ(connections_with(1'024), 1'024 - base::limits::kDescriptorsReserve);
  EXPECT_EQ(connections_with(2 * base::limits::kDescriptorsReserve),
            base::limits::kDescriptorsReserve);
  EXPECT_EQ(connections_with(100), 50U);
  EXPECT_EQ(connections_with(0), 1U);
}

}  // namespace
}  // namespace engine::cli

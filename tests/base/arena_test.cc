#include "engine/base/arena.h"

#include <cstdint>
#include <string>

#include <gtest/gtest.h>

namespace engine::base {
namespace {

TEST(Arena, HandsOutAlignedMemoryThatStays) {
  Arena arena;
  std::vector<std::uint64_t*> numbers;
  for (std::uint64_t i = 0; i < 10'000; ++i) {
    arena.copy("x");
    numbers.push_back(arena.make<std::uint64_t>(i));
    EXPECT_EQ(reinterpret_cast<std::uintptr_t>(numbers.back()) % alignof(std::uint64_t), 0U);
  }
  for (std::uint64_t i = 0; i < numbers.size(); ++i) {
    EXPECT_EQ(*numbers[i], i);
  }
}

TEST(Arena, CopiesTextWithAZeroBehindIt) {
  Arena arena;
  std::string text = "saturation";
  const std::string_view copy = arena.copy(text);
  text.assign(text.size(), '-');
  EXPECT_EQ(copy, "saturation");
  EXPECT_EQ(copy.data()[copy.size()], '\0');
  EXPECT_EQ(arena.copy(""), "");
}

TEST(Arena, GivesUpToItsLimitAndNoByteMore) {
  constexpr std::size_t kLimit = 100'000;
  Arena arena(kLimit);
  std::size_t given = 0;
  EXPECT_THROW(
      {
        while (true) {
          arena.allocate(1000, 1);
          given += 1000;
        }
      },
      std::bad_alloc);
  EXPECT_GE(given, kLimit - 2000);  // only the ends of blocks are lost
  EXPECT_LE(arena.total_bytes(), kLimit);
}

TEST(Arena, OneLargePieceFitsExactly) {
  Arena arena(50'000);
  EXPECT_NO_THROW(arena.allocate(50'000, 1));
  EXPECT_THROW(arena.allocate(1, 1), std::bad_alloc);
  Arena small(50'000);
  EXPECT_THROW(small.allocate(50'001, 1), std::bad_alloc);
  EXPECT_NO_THROW(small.allocate(49'999, 1));
}

TEST(Arena, RefusesSizesThatOverflow) {
  Arena arena(1'000);
  EXPECT_THROW(arena.allocate(static_cast<std::size_t>(-1), 1), std::bad_alloc);
  arena.allocate(10, 1);
  EXPECT_THROW(arena.allocate(static_cast<std::size_t>(-8), 8), std::bad_alloc);
  EXPECT_THROW(arena.make_array<std::uint64_t>(static_cast<std::size_t>(-1) / 4), std::bad_alloc);
}

TEST(Arena, ResetKeepsOneBlockForTheNextRequest) {
  Arena arena(1 << 20);
  for (int round = 0; round < 100; ++round) {
    for (int i = 0; i < 400; ++i) {
      arena.allocate(1000, 8);
    }
    arena.reset();
  }
  EXPECT_LE(arena.total_bytes(), std::size_t{1} << 20);
}

}  // namespace
}  // namespace engine::base

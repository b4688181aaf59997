// Seeds of a whole system under faults. Every failure names its seed, and the same seed does the
// same again:
//   CHARTFERRY_SEED=17 simulation_test      runs that seed alone
//   CHARTFERRY_SEEDS=10000 simulation_test  runs so many

#include <cstdlib>
#include <string>

#include <gtest/gtest.h>

#include "tests/simulation/world.h"

namespace simulation {
namespace {

std::uint64_t number_from(const char* name, std::uint64_t otherwise) {
  const char* text = std::getenv(name);
  return text == nullptr ? otherwise : std::stoull(text);
}

Faults faults_of(std::uint64_t seed) {
  // Each seed has its own mixture; every fifth has only one kind, every seventh none.
  Chance chance(seed ^ 0x5EED);
  Faults faults{8, 3, 12, 20};
  if (seed % 5 == 0) {
    const int only = chance.below(4);
    faults = {only == 0 ? 6 : 0, only == 1 ? 2 : 0, only == 2 ? 6 : 0, only == 3 ? 6 : 0};
  } else if (seed % 7 == 0) {
    faults = Faults();
  }
  return faults;
}

TEST(Simulation, EveryAcknowledgedRevisionLandsOnceAndInOrder) {
  const std::uint64_t only = number_from("CHARTFERRY_SEED", 0);
  const std::uint64_t seeds = number_from("CHARTFERRY_SEEDS", 1'000);
  for (std::uint64_t seed = only != 0 ? only : 1; seed <= (only != 0 ? only : seeds); ++seed) {
    World world(seed, faults_of(seed));
    const std::vector<std::string> wrong = world.run(6);
    for (const std::string& sentence : wrong) {
      ADD_FAILURE() << "seed " << seed << ": " << sentence;
    }
    if (!wrong.empty()) {
      if (only != 0) {
        std::puts(world.trace().c_str());
      }
      return;
    }
  }
}

TEST(Simulation, TheSameSeedDoesTheSame) {
  World first(42, faults_of(42));
  World second(42, faults_of(42));
  World other(43, faults_of(43));
  first.run(6);
  second.run(6);
  other.run(6);
  EXPECT_EQ(first.trace(), second.trace());
  EXPECT_NE(first.trace(), other.trace());
}

}  // namespace
}  // namespace simulation

// The cost of a session does not grow with the journal: counted in steps of SQLite's virtual
// machine, which a search of the whole log would multiply, whatever the machine that runs this.
//   CHARTFERRY_RECORDS=1000000 journal_test --gtest_filter='Growth*'   goes on to so many records

#include <atomic>
#include <cstdlib>
#include <ctime>
#include <string>
#include <vector>

#include <sqlite3.h>

#include "tests/journal/fixture.h"

namespace engine::journal {
namespace {

std::atomic<std::uint64_t> steps{0};

int count_step(void*) {
  ++steps;
  return 0;
}

int watch(sqlite3* database, char**, const void*) {
  sqlite3_progress_handler(database, 1, &count_step, nullptr);
  return SQLITE_OK;
}

// Every connection that is opened while it lives counts its steps.
class Watch {
 public:
  Watch() { sqlite3_auto_extension(reinterpret_cast<void (*)()>(&watch)); }
  ~Watch() { sqlite3_reset_auto_extension(); }
  Watch(const Watch&) = delete;
  Watch& operator=(const Watch&) = delete;
};

constexpr Kind kWay[] = {Kind::kAccepted, Kind::kChecked, Kind::kDispatched, Kind::kLanded};
constexpr std::size_t kPatients = 200;

Change change_of(Kind kind, std::size_t number) {
  Change change(record_of(kind, "s" + std::to_string(number), 1));
  change.record.patient = "p" + std::to_string(number % kPatients);
  if (kind == Kind::kAccepted) {
    change.parts.push_back(to_stored(Part("document", "{}")));
  }
  return change;
}

// The ways of `count` sessions from `first` on, as fast as they can be written.
void fill(Store& store, const base::Clock& clock, std::size_t first, std::size_t count) {
  constexpr std::size_t kSessionsACommit = 250;
  for (std::size_t at = first; at < first + count;) {
    const std::size_t end = std::min(first + count, at + kSessionsACommit);
    std::vector<Change> batch;
    for (; at < end; ++at) {
      for (const Kind kind : kWay) {
        batch.push_back(change_of(kind, at));
      }
    }
    ASSERT_TRUE(store.commit(batch, clock).has_value());
  }
}

// Steps of one session's way as intake and delivery go it, the looks at what is to be done
// included.
double steps_a_session(Store& store, const base::Clock& clock, std::size_t first) {
  const std::vector<std::string> targets = {"main"};
  constexpr std::size_t kSessions = 20;
  const std::uint64_t before = steps;
  for (std::size_t number = first; number < first + kSessions; ++number) {
    for (const Kind kind : kWay) {
      EXPECT_TRUE(write(store, clock, change_of(kind, number)).has_value());
      EXPECT_TRUE(store.legs("s" + std::to_string(number)).has_value());
      EXPECT_TRUE(store.untranslated(targets, 100).has_value());
      EXPECT_TRUE(store.due("main", 0, 8).has_value());
      EXPECT_TRUE(store.next_due("main").has_value());
      EXPECT_TRUE(store.open_counts().has_value());
    }
  }
  return static_cast<double>(steps - before) / kSessions;
}

TEST(Growth, ASessionCostsTheSameWhenTheJournalIsAHundredTimesAsLong) {
  const TemporaryFolder folder;
  const Watch watching;
  const SetClock clock;
  const auto store = open_sqlite_store({folder.file("journal"), OpenMode::kEngine});
  ASSERT_TRUE(store.has_value()) << store.error().text();
  const char* asked = std::getenv("CHARTFERRY_RECORDS");
  const std::size_t wanted = asked == nullptr ? 100'000 : std::stoul(asked);
  std::size_t sessions = 0;
  double small = 0;
  for (std::size_t records = 1'000; records <= wanted; records *= 10) {
    const std::size_t more = records / std::size(kWay) - sessions;
    fill(**store, clock, sessions, more);
    sessions += more;
    const std::clock_t began = std::clock();
    const double now = steps_a_session(**store, clock, sessions);
    const double took = 1e6 * static_cast<double>(std::clock() - began) / CLOCKS_PER_SEC / 20;
    sessions += 20;
    std::printf("%zu records: %.0f steps, %.0f us of processor time a session\n", records, now,
                took);
    ASSERT_GT(now, 0);
    small = small == 0 ? now : small;
    EXPECT_NEAR(now, small, small / 10) << records;
  }
}

}  // namespace
}  // namespace engine::journal

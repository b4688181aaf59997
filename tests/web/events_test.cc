// Who follows the journal hears of everything that is in it, also where a database took over that
// lacks what was told.

#include "engine/web/events.h"

#include <memory>
#include <string>

#include <gtest/gtest.h>

#include "tests/journal/fixture.h"
#include "tests/journal/growing_store.h"

namespace engine::web {
namespace {

using journal::Kind;

class EventsTest : public ::testing::Test {
 protected:
  static std::unique_ptr<journal::Store> made() {
    return std::move(*journal::open_sqlite_store({":memory:", journal::OpenMode::kEngine}));
  }
  void happen(journal::Store& store, const std::string& session) {
    ASSERT_TRUE(
        journal::write(store, clock_, journal::Change(record_of(Kind::kAccepted, session, 1)))
            .has_value());
  }
  // The sessions whose records the stream told, each by one letter.
  static std::string told(EventStream& stream) {
    const std::string bytes = stream.take().bytes;
    const std::string mark = "\"session\":\"";
    std::string out;
    for (std::size_t at = bytes.find(mark); at != std::string::npos;
         at = bytes.find(mark, at + 1)) {
      out += bytes[at + mark.size()];
    }
    return out;
  }

  journal::SetClock clock_;
  std::unique_ptr<journal::Store> before_ = made();
  std::unique_ptr<journal::Store> after_ = made();
  journal::GrowingStore store_{*before_, {}};
  Events events_{store_};
};

TEST_F(EventsTest, TellWhatStandsWhereWhatTheyToldWasLost) {
  for (journal::Store* store : {before_.get(), after_.get()}) {
    happen(*store, "a");
  }
  const auto stream = events_.open(std::nullopt);
  for (journal::Store* store : {before_.get(), after_.get()}) {
    happen(*store, "b");
  }
  events_.follow();
  EXPECT_EQ(told(*stream), "b");
  happen(*before_, "c");
  events_.follow();
  EXPECT_EQ(told(*stream), "c");
  store_.be(*after_);
  for (const char* session : {"d", "e"}) {  // longer than what was told when somebody looks again
    happen(*after_, session);
  }
  events_.follow();
  EXPECT_EQ(told(*stream), "de");
  events_.follow();
  EXPECT_EQ(told(*stream), "");
}

}  // namespace
}  // namespace engine::web

#pragma once
// A store of each kind, for tests of what every journal::Store does, whatever it is kept in.

#include <memory>
#include <string>
#include <vector>

#include "engine/journal/verify.h"
#include "tests/journal/fixture.h"
#include "tests/journal/store_house.h"

namespace engine::journal {

class StoreConformance : public ::testing::TestWithParam<HouseKind> {
 protected:
  void SetUp() override {
    house_ = GetParam().make();
    if (!house_->missing().empty()) {
      GTEST_SKIP() << house_->missing();
    }
    open();
  }
  void open() {
    store_.reset();
    auto opened = house_->open();
    ASSERT_TRUE(opened.has_value()) << opened.error().text();
    store_ = std::move(*opened);
  }
  Outcome write(Change change) {
    auto outcome = journal::write(*store_, clock_, std::move(change));
    EXPECT_TRUE(outcome.has_value()) << (outcome ? "" : outcome.error().text());
    return outcome ? *outcome : Outcome();
  }
  Outcome write(Kind kind, const std::string& session, std::uint32_t revision) {
    return write(Change(record_of(kind, session, revision)));
  }
  Outcome hold(const std::string& session, std::uint32_t revision, bool unknown = false) {
    Record record = record_of(Kind::kHeld, session, revision);
    record.reason = "why";
    record.unknown = unknown;
    return write(Change(record));
  }
  std::vector<Leg> untranslated(const std::vector<std::string>& targets = {"main"},
                                std::size_t limit = 10) {
    auto legs = store_->untranslated(targets, limit);
    EXPECT_TRUE(legs.has_value()) << (legs ? "" : legs.error().text());
    return legs ? *legs : std::vector<Leg>();
  }
  void expect_sound() {
    const auto verification = verify(*store_);
    ASSERT_TRUE(verification.has_value()) << verification.error().text();
    EXPECT_EQ(verification->faults, std::vector<std::string>());
    const auto differences = store_->check_fold(10);
    ASSERT_TRUE(differences.has_value()) << differences.error().text();
    EXPECT_EQ(*differences, std::vector<std::string>());
  }

  std::unique_ptr<StoreHouse> house_;
  SetClock clock_;
  std::unique_ptr<Store> store_;
};

}  // namespace engine::journal

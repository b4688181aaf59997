// What is destroyed is gone and said to be, what is kept is kept, and everything stays proved.

#include <algorithm>
#include <fstream>
#include <iterator>

#include "engine/journal/copy.h"
#include "engine/journal/destruction.h"
#include "engine/journal/keeping.h"
#include "engine/journal/merkle.h"
#include "engine/journal/open_store.h"
#include "engine/journal/sql.h"
#include "engine/journal/stored.h"
#include "tests/journal/growing_store.h"
#include "tests/journal/sealed_store.h"

namespace engine::journal {
namespace {

constexpr std::int64_t kYear = 31'557'600;  // seconds

class Destroying : public SealedStore {
 protected:
  Outcome shred(const std::string& patient, const char* reason = "") {
    Record record;
    record.kind = Kind::kShredded;
    record.patient = patient;
    record.actor = "Robin Sample";
    record.why = "wish of the patient";
    record.reason = reason;
    return write(Change(record));
  }
  Outcome expire(const std::string& cutoff, std::size_t most = 100) {
    Record record;
    record.kind = Kind::kExpired;
    record.actor = "the engine";
    record.reason = "before " + cutoff;
    Change change(record);
    change.destroy_before = cutoff;
    change.destroy_max = most;
    return write(std::move(change));
  }
  Position hold(const std::string& patient) {
    Record record;
    record.kind = Kind::kHold;
    record.patient = patient;
    record.actor = "Kim Sample";
    record.why = "order of the court";
    return write(Change(record)).record.position;
  }
  void end_hold(Position position) {
    Record record;
    record.kind = Kind::kHoldEnded;
    record.through = position;
    write(Change(record));
  }
  void at_year(int years) { clock_.set(std::chrono::seconds(1'800'000'000 + years * kYear)); }
  std::string list_of(const Outcome& outcome) {
    const auto list = store_->part(outcome.record.position, kDestroyedPart);
    return list ? *list : list.error().text();
  }
  std::uint64_t destroyed() {
    const auto report = verify(*store_);
    EXPECT_EQ(report->faults, std::vector<std::string>());
    return report->destroyed;
  }
  // The root over the first records, which nothing may change.
  base::Digest root_of(Position size) {
    Frontier tree;
    EXPECT_TRUE(store_
                    ->scan(1,
                           [&](Position, std::string_view, const base::Digest& leaf) {
                             tree.append(leaf);
                             return tree.size() < size;
                           })
                    .has_value());
    return tree.root();
  }
  std::string faults() {
    const auto report = verify(*store_);
    std::string out;
    for (const std::string& fault : report->faults) {
      out += fault + "\n";
    }
    return out;
  }
};

TEST_P(Destroying, APatientsBodiesAreUnreadableForGoodAndAllElseStays) {
  accept("a", "body of a");
  land("a");
  accept("b", "body of b");
  land("b");
  const Position size = *store_->size();
  const base::Digest root = root_of(size);
  const auto keys = store_->body_keys();
  const Outcome outcome = shred("p-a");
  ASSERT_EQ(outcome.verdict, Outcome::Verdict::kWritten);
  EXPECT_EQ(list_of(outcome).substr(0, 4), "key ");
  for (const char* name : {"document"}) {
    EXPECT_EQ(error_of(1, name), "it was destroyed on 2027-01-15 by Robin Sample; record " +
                                     std::to_string(outcome.record.position) + " says why");
  }
  EXPECT_EQ(store_->part(2, "bundle").error().code, base::ErrorCode::kNotFound);
  EXPECT_EQ(**store_->destroyed_by(1, "document"), outcome.record.position);
  EXPECT_FALSE(store_->destroyed_by(5, "document")->has_value());
  EXPECT_EQ(error_of(5), "readable");
  EXPECT_EQ(store_->body_keys()->size(), 1u);
  EXPECT_EQ(root_of(size), root);
  EXPECT_EQ(destroyed(), 2u);
  expect_sound();
  open_with("m");
  EXPECT_NE(error_of(1), "readable");
  // Not by the key of before either: only a copy of the row would bring it back.
  EXPECT_EQ(keys->size(), 2u);
}

TEST_P(Destroying, APatientWhoComesAgainGetsAnotherKey) {
  accept("a", "first");
  land("a");
  shred("p-a");
  const Position again = accept("aa", "second");
  EXPECT_EQ(error_of(again), "readable");
  EXPECT_NE(error_of(1), "readable");
  EXPECT_EQ(store_->body_keys()->size(), 1u);
  expect_sound();
}

TEST_P(Destroying, BodiesOfBeforeSealingAreRemoved) {
  auto plain = GetParam().make();
  house_.swap(plain);
  store_.reset();
  open();
  accept("a", "in the clear");
  land("a");
  accept("b", "in the clear");
  land("b");
  open_with("m");
  accept("ab", "sealed");
  land("ab");
  const Outcome outcome = shred("p-a");
  const std::string list = list_of(outcome);
  EXPECT_NE(list.find("key "), std::string::npos) << list;
  EXPECT_NE(list.find("records 1 2\n"), std::string::npos) << list;
  for (const Position position : {Position{1}, Position{9}}) {
    EXPECT_NE(error_of(position).find("was destroyed on"), std::string::npos) << position;
  }
  EXPECT_EQ(error_of(5), "readable");
  EXPECT_EQ(destroyed(), 4u);
  expect_sound();
  store_.reset();
}

TEST_P(Destroying, IsRefusedWhileSomethingHasNotEnded) {
  accept("a", "body");
  EXPECT_EQ(shred("p-a").record.reason, keeping::kUnsent);
  write(Kind::kChecked, "a", 1);
  EXPECT_EQ(shred("p-a").record.reason, keeping::kUnsent);
  StoreConformance::hold("a", 1);
  const Outcome held = shred("p-a");
  EXPECT_EQ(held.verdict, Outcome::Verdict::kNotNow);
  EXPECT_EQ(held.record.reason, keeping::kUnsent);
  EXPECT_EQ(error_of(1), "readable");
  EXPECT_EQ(*store_->size(), 3u) << "nothing was written";
  EXPECT_EQ(shred("p-a", keeping::kEvenUnsent).verdict, Outcome::Verdict::kWritten);
  EXPECT_NE(error_of(1), "readable");
  EXPECT_EQ(shred("p-a", keeping::kEvenUnsent).record.reason, keeping::kNothing) << "twice";
  EXPECT_EQ(shred("p-z").record.reason, keeping::kNothing) << "nobody";
  expect_sound();
}

// What was corrected of the wrong patient's session is needed to correct or take back the other's.
TEST_P(Destroying, IsRefusedWhileAHoldStandsOnSomebodyElseOfASession) {
  accept("a", "meant for b");
  land("a");
  Change corrected(record_of(Kind::kAccepted, "a", 2));
  corrected.record.patient = "p-b";
  corrected.parts.push_back(to_stored(Part("document", "of b")));
  write(std::move(corrected));
  land("a", 2);
  accept("c", "body");
  land("c");
  const Position other = hold("p-b");
  EXPECT_EQ(shred("p-a").record.reason, keeping::kOnHold);
  EXPECT_EQ(shred("p-a", keeping::kEvenUnsent).record.reason, keeping::kOnHold);
  EXPECT_EQ(shred("p-c").verdict, Outcome::Verdict::kWritten);
  end_hold(other);
  EXPECT_EQ(shred("p-a").verdict, Outcome::Verdict::kWritten);
  EXPECT_EQ(error_of(5), "readable");
  expect_sound();
}

TEST_P(Destroying, IsRefusedWhileAHoldStandsAndEachHoldEndsByItself) {
  accept("a", "body");
  land("a");
  accept("b", "body");
  land("b");
  const Position first = hold("p-a");
  const Position second = hold("p-a");
  EXPECT_EQ(shred("p-a", keeping::kEvenUnsent).record.reason, keeping::kOnHold);
  at_year(20);
  EXPECT_EQ(list_of(expire("2030-01-01T00:00:00.000Z")), "records 5 6\n");
  end_hold(first);
  ASSERT_EQ(store_->legal_holds()->size(), 1u);
  EXPECT_EQ(store_->legal_holds()->front().position, second);
  EXPECT_EQ(shred("p-a").record.reason, keeping::kOnHold);
  EXPECT_EQ(expire("2030-01-01T00:00:00.000Z").record.reason, keeping::kNothing);
  end_hold(second);
  EXPECT_TRUE(store_->legal_holds()->empty());
  EXPECT_EQ(error_of(1), "readable");
  EXPECT_EQ(shred("p-a").verdict, Outcome::Verdict::kWritten);
  expect_sound();
}

TEST_P(Destroying, OldBodiesOfEndedSessionsAreRemovedAndNothingElse) {
  accept("a", "old and landed");  // 1 to 4
  land("a");
  accept("b", "old and waiting");  // 5
  accept("c", "old and held");     // 6, 7
  StoreConformance::hold("c", 1);
  accept("d", "old and corrected of late");  // 8 to 11
  land("d");
  Change refused(record_of(Kind::kRefused, "", 0, ""));  // 12
  refused.parts.push_back(to_stored(Part("document", "old and refused")));
  write(std::move(refused));
  at_year(9);
  accept("d", "the correction", 2);  // 13 to 16
  land("d", 2);
  accept("e", "young");  // 17 to 20
  land("e");
  write(Kind::kRead, "a", 0);  // looking keeps nothing
  const Position size = *store_->size();
  const base::Digest root = root_of(size);
  at_year(11);
  const Outcome outcome = expire("2028-01-01T00:00:00.000Z");
  EXPECT_EQ(list_of(outcome), "records 1 2\nrecords 12 12\n");
  EXPECT_EQ(error_of(1), "it was destroyed on 2038-01-15 by the engine; record " +
                             std::to_string(outcome.record.position) + " says why");
  EXPECT_NE(error_of(2, "bundle"), "readable");
  for (const Position kept : {5U, 6U, 8U, 13U, 17U}) {
    EXPECT_EQ(error_of(kept), "readable") << kept;
  }
  EXPECT_EQ(destroyed(), 3u);
  EXPECT_EQ(root_of(size), root);
  EXPECT_EQ(expire("2028-01-01T00:00:00.000Z").verdict, Outcome::Verdict::kNotNow);
  EXPECT_EQ(*store_->size(), size + 1) << "nothing to remove is no record";
  expect_sound();
  at_year(30);
  EXPECT_EQ(list_of(expire("2047-01-01T00:00:00.000Z")), "records 8 18\n")
      << "neither what waits or is held, nor what says what was destroyed";
  expect_sound();
}

TEST_P(Destroying, APersonWhoFindsNothingSoOldIsWrittenDownAllTheSame) {
  accept("a", "body");
  land("a");
  hold("p-a");
  at_year(10);
  Record record;
  record.kind = Kind::kExpired;
  record.actor = "Robin Sample (command, uid 1000 robin)";
  Change change(record);
  change.destroy_before = "2030-01-01T00:00:00.000Z";
  change.destroy_max = 100;
  change.even_nothing = true;
  const Outcome outcome = write(std::move(change));
  EXPECT_EQ(outcome.verdict, Outcome::Verdict::kWritten);
  EXPECT_EQ(list_of(outcome), "");
  EXPECT_EQ(error_of(1), "readable");
  EXPECT_EQ(destroyed(), 0u);
  expect_sound();
}

TEST_P(Destroying, GoesInStepsThatJoin) {
  for (int i = 0; i < 30; ++i) {
    const std::string session = "s" + std::to_string(i);
    accept(session, "body");
    land(session);
  }
  at_year(10);
  EXPECT_EQ(list_of(expire("2030-01-01T00:00:00.000Z", 20)), "records 1 38\n");
  EXPECT_EQ(list_of(expire("2030-01-01T00:00:00.000Z", 30)), "records 41 98\n");
  EXPECT_EQ(list_of(expire("2030-01-01T00:00:00.000Z", 30)), "records 101 118\n");
  EXPECT_EQ(expire("2030-01-01T00:00:00.000Z", 30).record.reason, keeping::kNothing);
  EXPECT_EQ(destroyed(), 60u);
  expect_sound();
}

TEST_P(Destroying, OfAnyLengthTheListIsKeptAsAPlainText) {
  for (int i = 0; i < 40; ++i) {
    for (const char* patient : {"a", "b"}) {
      const std::string session = patient + std::to_string(i);
      accept(session, "body");
      land(session);
    }
  }
  hold("p-b");
  at_year(10);
  const Outcome outcome = expire("2030-01-01T00:00:00.000Z");
  const std::string list = list_of(outcome);
  EXPECT_EQ(std::count(list.begin(), list.end(), '\n'), 40) << list;
  ASSERT_FALSE(stored().empty());
  EXPECT_EQ(stored().back().part.name, kDestroyedPart);
  EXPECT_EQ(stored().back().part.codec, kCodecPlain);
  EXPECT_EQ(stored().back().part.bytes, list);
  expect_sound();
}

TEST_P(Destroying, IsCopiedAndCatchesUpInAnEarlierCopy) {
  accept("a", "body of a");
  land("a");
  accept("b", "body of b");
  land("b");
  const TemporaryFolder folder;
  const auto copy_to = [&](const std::string& name) {
    auto to = open_store({folder.file(name), OpenMode::kCopy, "", sealing_of("m")});
    EXPECT_TRUE(to.has_value());
    const auto report = copy_journal(*store_, **to, true, [](Position) {});
    EXPECT_TRUE(report.has_value()) << (report ? "" : report.error().text());
    return std::move(*to);
  };
  EXPECT_EQ(*copy_to("early")->part(1, "document"), "body of a");
  shred("p-a");
  at_year(10);
  expire("2030-01-01T00:00:00.000Z");
  for (const char* name : {"early", "late"}) {
    const auto copy = copy_to(name);
    const auto report = verify(*copy);
    EXPECT_EQ(report->faults, std::vector<std::string>()) << name;
    EXPECT_EQ(report->destroyed, 4u) << name;
    EXPECT_TRUE(copy->body_keys()->size() == 1u) << name;
    EXPECT_NE(copy->part(5, "document").error().detail.find("was destroyed on 2037"),
              std::string::npos)
        << name;
  }
}

TEST_P(Destroying, WhileSomebodyVerifiesIsNoFault) {
  for (const char* session : {"a", "b", "c"}) {
    accept(session, "body of " + std::string(session));
    land(session);
    at_year(1);
  }
  const GrowingStore growing(*store_, [&] {
    EXPECT_EQ(shred("p-b").verdict, Outcome::Verdict::kWritten);
    EXPECT_EQ(expire("2027-06-01T00:00:00Z").verdict, Outcome::Verdict::kWritten);
  });
  const auto during = verify(growing);
  ASSERT_TRUE(during.has_value()) << during.error().text();
  EXPECT_EQ(during->faults, std::vector<std::string>());
  EXPECT_EQ(during->records, 12u);
  expect_sound();
}

INSTANTIATE_TEST_SUITE_P(Stores, Destroying, ::testing::ValuesIn(all_houses()),
                         [](const auto& row) { return std::string(row.param.name); });

}  // namespace
}  // namespace engine::journal

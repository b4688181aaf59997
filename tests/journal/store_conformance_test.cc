// What every journal::Store does, whatever it is kept in: the way of a session.

#include "tests/journal/store_conformance.h"

#include <atomic>
#include <future>
#include <mutex>
#include <set>
#include <string>
#include <thread>
#include <vector>

#include "engine/journal/journal.h"

namespace engine::journal {
namespace {

TEST_P(StoreConformance, KeepsWhatWasWritten) {
  Change change(record_of(Kind::kAccepted, "a", 1));
  change.parts.push_back(to_stored(Part("document", std::string(1000, 'x'))));
  EXPECT_EQ(write(std::move(change)).position, 1u);
  open();
  EXPECT_EQ(*store_->size(), 1u);
  EXPECT_EQ(*store_->part(1, "document"), std::string(1000, 'x'));
  EXPECT_EQ(store_->part(1, "bundle").error().code, base::ErrorCode::kNotFound);
  EXPECT_EQ(store_->head_text(2).error().code, base::ErrorCode::kNotFound);
  EXPECT_EQ(parse_head(*store_->head_text(1))->record.time, "2027-01-15T08:00:00.000Z");
  expect_sound();
}

TEST_P(StoreConformance, TellsRepeatedFromConflicting) {
  EXPECT_EQ(write(Kind::kAccepted, "a", 2).verdict, Outcome::Verdict::kWritten);
  const Outcome repeated = write(Kind::kAccepted, "a", 2);
  EXPECT_EQ(repeated.verdict, Outcome::Verdict::kRepeated);
  EXPECT_EQ(repeated.position, 1u);
  EXPECT_EQ(repeated.record.kind, Kind::kRepeated);
  Change other(record_of(Kind::kAccepted, "a", 2));
  other.record.content = "other";
  other.parts.push_back(to_stored(Part("document", "other")));
  const Outcome conflicting = write(std::move(other));
  EXPECT_EQ(conflicting.verdict, Outcome::Verdict::kConflicting);
  EXPECT_EQ(conflicting.position, 1u);
  EXPECT_EQ(*store_->part(conflicting.record.position, "document"), "other");
  const Outcome older = write(Kind::kAccepted, "a", 1);
  EXPECT_EQ(older.verdict, Outcome::Verdict::kConflicting);
  EXPECT_EQ(older.position, 0u);
  EXPECT_EQ(write(Kind::kAccepted, "a", 5).verdict, Outcome::Verdict::kWritten);
  EXPECT_EQ(legs_text(*store_, {"a"}), "a/2 accepted, a/5 accepted");
  EXPECT_EQ(*store_->size(), 5u);
  expect_sound();
}

// An engine of before wrote the hash itself.
TEST_P(StoreConformance, TellsRepeatedByWhatRecordsOfBeforeSayOfTheContent) {
  Change before(record_of(Kind::kAccepted, "a", 1));
  before.record.content = "hash";
  write(std::move(before));
  const auto again = [&](const char* plain) {
    Change change(record_of(Kind::kAccepted, "a", 1));
    change.record.content = "keyed";
    change.plain_content = plain;
    return write(std::move(change)).verdict;
  };
  EXPECT_EQ(again("hash"), Outcome::Verdict::kRepeated);
  EXPECT_EQ(again("other"), Outcome::Verdict::kConflicting);
}

TEST_P(StoreConformance, TakesNothingInForASessionThatWasMovedAway) {
  write(Kind::kAccepted, "a", 1);
  Change away(record_of(Kind::kAccepted, "a", 2));
  away.record.reason = kMovedAway;
  EXPECT_EQ(write(std::move(away)).verdict, Outcome::Verdict::kWritten);
  const Outcome later = write(Kind::kAccepted, "a", 3);
  EXPECT_EQ(later.verdict, Outcome::Verdict::kConflicting);
  EXPECT_EQ(later.record.reason, kMovedAway);
  EXPECT_EQ(write(Kind::kAccepted, "a", 1).verdict, Outcome::Verdict::kRepeated);
  EXPECT_EQ(legs_text(*store_, {"a"}), "a/1 accepted, a/2 accepted");
  expect_sound();
}

TEST_P(StoreConformance, WritesWhatBelongsTogetherOrNeither) {
  write(Kind::kAccepted, "a", 2);
  std::vector<Change> batch;
  batch.emplace_back(record_of(Kind::kAccepted, "a", 1));  // older than what is there
  batch.emplace_back(record_of(Kind::kAccepted, "b", 1));
  batch.back().only_with_previous = true;
  batch.emplace_back(record_of(Kind::kAccepted, "c", 1));
  batch.emplace_back(record_of(Kind::kAccepted, "d", 1));
  batch.back().only_with_previous = true;
  const auto outcomes = store_->commit(batch, clock_);
  ASSERT_TRUE(outcomes.has_value()) << outcomes.error().text();
  const std::vector<Outcome::Verdict> want = {Outcome::Verdict::kConflicting,
                                              Outcome::Verdict::kNotNow, Outcome::Verdict::kWritten,
                                              Outcome::Verdict::kWritten};
  ASSERT_EQ(outcomes->size(), want.size());
  for (std::size_t i = 0; i < want.size(); ++i) {
    EXPECT_EQ((*outcomes)[i].verdict, want[i]) << i;
  }
  EXPECT_EQ(legs_text(*store_, {"b", "c", "d"}), "c/1 accepted, d/1 accepted");
  expect_sound();
}

// Whoever asked looked before, outside of the transaction: the second may have been taken since.
TEST_P(StoreConformance, WritesNeitherWhenTheSecondOfAPairCannotBe) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kAccepted, "b", 1);
  const Position before = *store_->size();
  Change away(record_of(Kind::kAccepted, "b", 2));
  away.record.reason = kMovedAway;
  Change waiting(record_of(Kind::kReleased, "b", 1));
  waiting.only_if = LegState::kHeld;
  for (const Change& second : {Change(record_of(Kind::kAccepted, "a", 1)),
                               [] {
                                 Change other(record_of(Kind::kAccepted, "a", 1));
                                 other.record.content = "other";
                                 return other;
                               }(),
                               waiting}) {
    std::vector<Change> pair = {away, second};
    pair.back().only_with_previous = true;
    const auto outcomes = store_->commit(pair, clock_);
    ASSERT_TRUE(outcomes.has_value() && outcomes->size() == 2);
    EXPECT_EQ(outcomes->front().verdict, Outcome::Verdict::kNotNow);
    EXPECT_EQ(outcomes->back().verdict, Outcome::Verdict::kNotNow);
  }
  EXPECT_EQ(*store_->size(), before);
  EXPECT_EQ(write(std::move(away)).verdict, Outcome::Verdict::kWritten) << "it is free to be moved";
  expect_sound();
}

TEST_P(StoreConformance, WhatWaitsForOtherTargetsStandsInNobodysWay) {
  for (const auto& [session, targets] :
       {std::pair("a", "gone"), {"b", "gone"}, {"c", "main,gone"}, {"d", "far"}, {"e", "main"}}) {
    Change change(record_of(Kind::kAccepted, session, 1));
    change.record.targets = targets;
    write(std::move(change));
  }
  const auto said = [&](const std::vector<std::string>& targets, std::size_t limit) {
    std::string out;
    for (const Leg& leg : untranslated(targets, limit)) {
      out += leg.session + ":" + leg.target + " ";
    }
    return out;
  };
  EXPECT_EQ(said({"main", "far"}, 10), "c:main d:far e:main ");
  EXPECT_EQ(said({"far", "main"}, 2), "c:main d:far ");
  EXPECT_EQ(said({}, 10), "");
}

TEST_P(StoreConformance, GoesTheWholeWay) {
  write(Kind::kAccepted, "a", 1);
  EXPECT_EQ(untranslated().size(), 1u);
  EXPECT_EQ(due_text(*store_), "");
  write(Kind::kChecked, "a", 1);
  EXPECT_EQ(untranslated().size(), 0u);
  EXPECT_EQ(due_text(*store_), "a/1");
  write(Kind::kDispatched, "a", 1);
  EXPECT_EQ(due_text(*store_), "");
  Record answered = record_of(Kind::kAnswered, "a", 1);
  answered.reason = "busy";
  answered.due_ms = 500;
  answered.counted = true;
  write(Change(answered));
  EXPECT_EQ(due_text(*store_, 499), "");
  EXPECT_EQ(due_text(*store_, 500), "a/1");
  EXPECT_EQ(**store_->next_due("main"), 500);
  EXPECT_FALSE(store_->next_due("other")->has_value());
  write(Kind::kDispatched, "a", 1);
  write(Kind::kLanded, "a", 1);
  const Leg leg = store_->legs("a")->front();
  EXPECT_EQ(leg.state, LegState::kLanded);
  EXPECT_EQ(leg.attempts, 2u);
  EXPECT_EQ(leg.failures, 1u);
  EXPECT_EQ(leg.bundle, 2u);
  EXPECT_TRUE(store_->open_counts()->empty());
  expect_sound();
}

TEST_P(StoreConformance, SendsThePatientsSessionsInOrderAndNotBehindAHeldOne) {
  for (const char* session : {"p1", "p2", "q1"}) {
    write(Kind::kAccepted, session, 1);
  }
  write(Kind::kChecked, "p2", 1);
  write(Kind::kChecked, "q1", 1);
  EXPECT_EQ(due_text(*store_), "q1/1") << "p1 is not translated yet";
  write(Kind::kChecked, "p1", 1);
  EXPECT_EQ(due_text(*store_), "p1/1 q1/1");
  write(Kind::kDispatched, "p1", 1);
  EXPECT_EQ(due_text(*store_), "q1/1") << "p1 is on its way";
  hold("p1", 1);
  EXPECT_EQ(due_text(*store_), "p2/1 q1/1");
  expect_sound();
}

TEST_P(StoreConformance, ACorrectionWaitsForAnOriginalOfUnknownFate) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kChecked, "a", 1);
  write(Kind::kDispatched, "a", 1);
  write(Kind::kAccepted, "a", 2);
  write(Kind::kChecked, "a", 2);
  hold("a", 1, true);
  EXPECT_EQ(due_text(*store_), "");
  EXPECT_EQ(legs_text(*store_, {"a"}), "a/1 held(why), a/2 checked");
  // With it waits what stands behind it, and nothing else of the patient.
  write(Kind::kAccepted, "aa", 1);
  EXPECT_EQ(due_text(*store_), "");
  write(Kind::kChecked, "aa", 1);
  EXPECT_EQ(due_text(*store_), "aa/1");
  write(Kind::kReleased, "a", 1);
  EXPECT_EQ(due_text(*store_), "a/1");
  write(Kind::kDispatched, "a", 1);
  write(Kind::kLanded, "a", 1);
  EXPECT_EQ(due_text(*store_), "a/2");
  expect_sound();
}

TEST_P(StoreConformance, ALaterRevisionSupersedesWhatSurelyNeverLanded) {
  write(Kind::kAccepted, "a", 1);
  hold("a", 1);
  write(Kind::kAccepted, "a", 2);
  EXPECT_EQ(legs_text(*store_, {"a"}), "a/1 superseded(why), a/2 accepted");
  // The other way round: refused by the target when the correction was made already.
  write(Kind::kAccepted, "b", 1);
  write(Kind::kChecked, "b", 1);
  write(Kind::kAccepted, "b", 2);
  write(Kind::kChecked, "b", 2);
  hold("b", 1);
  EXPECT_EQ(legs_text(*store_, {"b"}), "b/1 superseded(why), b/2 accepted");
  expect_sound();
}

TEST_P(StoreConformance, ARevisionMayGoToOneTargetMoreAndKeepsItsPlace) {
  write(Kind::kAccepted, "a", 1);
  hold("a", 1);
  Record elsewhere = record_of(Kind::kAccepted, "a", 2);
  elsewhere.targets = "other";
  const Position place = write(Change(elsewhere)).position;
  write(Kind::kAlsoFor, "a", 2);
  write(Kind::kAlsoFor, "a", 2);
  write(Kind::kAlsoFor, "a", 3);  // of what was never accepted
  const auto legs = store_->legs("a");
  ASSERT_TRUE(legs.has_value());
  ASSERT_EQ(legs->size(), 3U);
  EXPECT_EQ((*legs)[0].state, LegState::kSuperseded);
  EXPECT_EQ((*legs)[1].target, "main");
  EXPECT_EQ((*legs)[1].accepted, place);
  EXPECT_EQ((*legs)[1].state, LegState::kAccepted);
  expect_sound();
}

// Bundles say what differs from the revisions before.
TEST_P(StoreConformance, WhatBuildsOnARevisionThatWillNotLandIsMadeAgain) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kChecked, "a", 1);
  write(Kind::kDispatched, "a", 1);
  write(Kind::kAccepted, "a", 2);
  hold("a", 2);
  EXPECT_FALSE(parse_head(*store_->head_text(*store_->size()))->record.anew) << "nothing later";
  hold("a", 1);
  EXPECT_EQ(legs_text(*store_, {"a"}), "a/1 superseded(why), a/2 accepted(why)");
  EXPECT_EQ(store_->legs("a")->back().bundle, 0u);
  write(Kind::kAccepted, "b", 1);
  write(Kind::kChecked, "b", 1);
  write(Kind::kDispatched, "b", 1);
  hold("b", 1, true);
  write(Kind::kAccepted, "b", 2);
  write(Kind::kChecked, "b", 2);
  write(Kind::kWithdrawn, "b", 1);
  EXPECT_EQ(legs_text(*store_, {"b"}), "b/1 withdrawn(why), b/2 accepted");
  EXPECT_EQ(untranslated().size(), 2u);
  // One that was sent already keeps the bytes that it was sent with.
  write(Kind::kAccepted, "c", 1);
  hold("c", 1, true);
  write(Kind::kAccepted, "c", 2);
  write(Kind::kChecked, "c", 2);
  hold("c", 2, true);
  write(Kind::kAccepted, "c", 3);
  write(Kind::kChecked, "c", 3);
  write(Kind::kWithdrawn, "c", 1);
  EXPECT_EQ(legs_text(*store_, {"c"}), "c/1 withdrawn(why), c/2 held(why), c/3 accepted");
  expect_sound();
}

// What the earlier one becomes is what the later ones have to differ from.
TEST_P(StoreConformance, WhatBuildsOnARevisionThatIsMadeAgainIsMadeAgainToo) {
  write(Kind::kAccepted, "a", 1);
  hold("a", 1, true);
  EXPECT_FALSE(write(Kind::kRemapped, "a", 1).record.anew) << "nothing later";
  hold("a", 1, true);
  write(Kind::kAccepted, "a", 2);
  write(Kind::kChecked, "a", 2);
  EXPECT_TRUE(write(Kind::kRemapped, "a", 1).record.anew);
  EXPECT_EQ(legs_text(*store_, {"a"}), "a/1 accepted(why), a/2 accepted");
  EXPECT_EQ(store_->legs("a")->back().bundle, 0u);
  // One that was sent already keeps the bytes that it was sent with, and what is before it its own.
  write(Kind::kAccepted, "b", 1);
  write(Kind::kChecked, "b", 1);
  write(Kind::kDispatched, "b", 1);
  write(Kind::kLanded, "b", 1);
  write(Kind::kAccepted, "b", 2);
  hold("b", 2, true);
  write(Kind::kAccepted, "b", 3);
  write(Kind::kChecked, "b", 3);
  hold("b", 3, true);
  EXPECT_FALSE(write(Kind::kRemapped, "b", 2).record.anew);
  EXPECT_EQ(legs_text(*store_, {"b"}), "b/1 landed, b/2 accepted(why), b/3 held(why)");
  expect_sound();
}

TEST_P(StoreConformance, WithdrawingTheLastRevisionBringsBackTheOneThatItSuperseded) {
  write(Kind::kAccepted, "a", 1);
  hold("a", 1);
  write(Kind::kAccepted, "a", 2);
  hold("a", 2);
  EXPECT_EQ(legs_text(*store_, {"a"}), "a/1 superseded(why), a/2 held(why)");
  const Outcome withdrawn = write(Kind::kWithdrawn, "a", 2);
  EXPECT_EQ(withdrawn.record.revived, 1U);
  EXPECT_EQ(legs_text(*store_, {"a"}), "a/1 held(why), a/2 withdrawn(why)");
  EXPECT_EQ(due_text(*store_), "") << "a person decides";
  EXPECT_EQ(store_->legs("a")->front().bundle, 0U) << "and it is made again: what it follows may "
                                                      "have changed";
  // Nobody gave it up, also when the last one may have landed.
  write(Kind::kAccepted, "b", 1);
  hold("b", 1);
  write(Kind::kAccepted, "b", 2);
  hold("b", 2);
  write(Kind::kAccepted, "b", 3);
  hold("b", 3, true);
  EXPECT_EQ(write(Kind::kWithdrawn, "b", 3).record.revived, 2U);
  EXPECT_EQ(legs_text(*store_, {"b"}), "b/1 superseded(why), b/2 held(why), b/3 withdrawn(why)");
  write(Kind::kAccepted, "b", 4);
  hold("b", 4);
  EXPECT_EQ(write(Kind::kWithdrawn, "b", 4).record.revived, 2U);
  // Not when another one stands, before or behind.
  write(Kind::kAccepted, "c", 1);
  hold("c", 1);
  write(Kind::kAccepted, "c", 2);
  write(Kind::kChecked, "c", 2);
  write(Kind::kDispatched, "c", 2);
  write(Kind::kLanded, "c", 2);
  write(Kind::kAccepted, "c", 3);
  hold("c", 3);
  EXPECT_EQ(write(Kind::kWithdrawn, "c", 3).record.revived, 0U);
  // Nor for a session that was moved away: nothing of it is to be sent any more.
  write(Kind::kAccepted, "d", 1);
  hold("d", 1);
  Change away(record_of(Kind::kAccepted, "d", 2));
  away.record.reason = kMovedAway;
  write(std::move(away));
  hold("d", 2);
  EXPECT_EQ(write(Kind::kWithdrawn, "d", 2).record.revived, 0U);
  expect_sound();
}

// Only who looked for all of it and found nothing can say that nothing is there.
TEST_P(StoreConformance, AHoldLeavesOpenWhatMayHaveLandedBefore) {
  for (const bool looked : {false, true}) {
    const std::string session = looked ? "b" : "a";
    write(Kind::kAccepted, session, 1);
    hold(session, 1, true);
    write(Kind::kReleased, session, 1);
    write(Kind::kDispatched, session, 1);
    Change refused(record_of(Kind::kHeld, session, 1));
    refused.record.reason = "refused";
    refused.nothing_there = looked;
    const Outcome outcome = write(std::move(refused));
    EXPECT_EQ(outcome.record.still_unknown, !looked);
    EXPECT_FALSE(outcome.record.unknown) << "this try is settled";
    EXPECT_EQ(store_->legs(session)->front().uncertain, !looked);
    write(Kind::kAccepted, session, 2);
  }
  EXPECT_EQ(legs_text(*store_, {"a", "b"}),
            "a/1 held(refused), a/2 accepted, b/1 superseded(refused), b/2 accepted");
  // Behind one that waits, too, and then the later one is not made again without it.
  write(Kind::kAccepted, "c", 1);
  hold("c", 1, true);
  write(Kind::kAccepted, "c", 2);
  write(Kind::kChecked, "c", 2);
  write(Kind::kReleased, "c", 1);
  write(Kind::kDispatched, "c", 1);
  EXPECT_FALSE(hold("c", 1).record.anew);
  EXPECT_EQ(legs_text(*store_, {"c"}), "c/1 held(why), c/2 checked");
  expect_sound();
}

// Records of before `anew` mean what they meant when they were written.
TEST_P(StoreConformance, WithoutTheirMarkRecordsFoldAsTheyDid) {
  const auto other = GetParam().make();
  auto opened = other->open(OpenMode::kCopy, nullptr);
  ASSERT_TRUE(opened.has_value());
  base::Digest previous = genesis();
  std::vector<CopiedRecord> records;
  const auto append = [&](Kind kind, const char* session, std::uint32_t revision) {
    Record record = record_of(kind, session, revision);
    record.position = records.size() + 1;
    record.time = "2027-01-15T08:00:00.000Z";
    record.unknown = kind == Kind::kHeld && record.session != "a";
    CopiedRecord copied;
    copied.head = *print_head(record, {}, previous);
    copied.leaf = previous = leaf_hash(copied.head);
    records.push_back(std::move(copied));
  };
  append(Kind::kAccepted, "a", 1);
  append(Kind::kChecked, "a", 1);
  append(Kind::kAccepted, "a", 2);
  append(Kind::kHeld, "a", 2);
  append(Kind::kHeld, "a", 1);
  append(Kind::kAccepted, "b", 1);
  append(Kind::kHeld, "b", 1);
  append(Kind::kAccepted, "b", 2);
  append(Kind::kChecked, "b", 2);
  append(Kind::kWithdrawn, "b", 1);
  append(Kind::kAccepted, "c", 1);
  append(Kind::kHeld, "c", 1);
  append(Kind::kAccepted, "c", 2);
  append(Kind::kChecked, "c", 2);
  append(Kind::kRemapped, "c", 1);
  ASSERT_TRUE((*opened)->restore(records).has_value());
  EXPECT_EQ(legs_text(**opened, {"a", "b", "c"}),
            "a/1 superseded, a/2 held, b/1 withdrawn, b/2 checked, c/1 accepted, c/2 checked");
}

// A machine whose clock was a year ahead put it off.
TEST_P(StoreConformance, NothingIsPutOffForLongerThanAnEngineWould) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kChecked, "a", 1);
  write(Kind::kDispatched, "a", 1);
  Record answered = record_of(Kind::kAnswered, "a", 1);
  answered.due_ms = 10'000'000;
  write(Change(answered));
  EXPECT_EQ(due_text(*store_, 10'000'000 - 4'200'000), "") << "an hour, and ten minutes";
  EXPECT_EQ(due_text(*store_, 10'000'000 - 4'200'001), "a/1");
}

TEST_P(StoreConformance, AHeldOneComesDueByItselfWhenItSaysSo) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kChecked, "a", 1);
  write(Kind::kDispatched, "a", 1);
  Record held = record_of(Kind::kHeld, "a", 1);
  held.reason = "unknown-patient";
  held.due_ms = 1000;
  write(Change(held));
  EXPECT_EQ(due_text(*store_, 999), "");
  EXPECT_EQ(due_text(*store_, 1000), "a/1");
}

TEST_P(StoreConformance, PeopleMoveHeldOnes) {
  for (const char* session : {"a", "b", "c"}) {
    write(Kind::kAccepted, session, 1);
    hold(session, 1);
  }
  write(Kind::kReleased, "a", 1);
  write(Kind::kRemapped, "b", 1);
  write(Kind::kWithdrawn, "c", 1);
  EXPECT_EQ(legs_text(*store_, {"a", "b", "c"}),
            "a/1 checked(why), b/1 accepted(why), c/1 withdrawn(why)");
  expect_sound();
}

TEST_P(StoreConformance, WritesOnlyWhileTheLegIsAsExpected) {
  write(Kind::kAccepted, "a", 1);
  Change release(record_of(Kind::kReleased, "a", 1));
  release.only_if = LegState::kHeld;
  EXPECT_EQ(write(std::move(release)).verdict, Outcome::Verdict::kNotNow);
  Change nobody(record_of(Kind::kReleased, "nobody", 1));
  nobody.only_if = LegState::kHeld;
  EXPECT_EQ(write(std::move(nobody)).verdict, Outcome::Verdict::kNotNow);
  EXPECT_EQ(*store_->size(), 1u);
}

TEST_P(StoreConformance, AStartSendsAgainWhatWasOnItsWay) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kChecked, "a", 1);
  write(Kind::kDispatched, "a", 1);
  open();
  write(Change(record_of(Kind::kStarted, "", 0, "")));
  EXPECT_EQ(due_text(*store_), "a/1");
  EXPECT_TRUE(store_->legs("a")->front().uncertain);
  expect_sound();
}

TEST_P(StoreConformance, FindsRecordsByWhatTheyAreAbout) {
  write(Kind::kAccepted, "a", 1);
  clock_.set(std::chrono::seconds(1'800'000'060));
  write(Kind::kAccepted, "b", 1);
  write(Kind::kChecked, "a", 1);
  const auto count = [&](const Query& query) { return store_->search(query)->size(); };
  Query query;
  EXPECT_EQ(count(query), 3u);
  query.session = "a";
  EXPECT_EQ(count(query), 2u);
  query.kind = Kind::kChecked;
  EXPECT_EQ(count(query), 1u);
  query = Query();
  query.patient = "p-b";
  EXPECT_EQ(count(query), 1u);
  query = Query();
  query.since = "2027-01-15T08:00:30.000Z";
  EXPECT_EQ(count(query), 2u);
  query.until = query.since;
  EXPECT_EQ(count(query), 0u);
  query = Query();
  query.limit = 2;
  query.newest_first = true;
  EXPECT_EQ(store_->search(query)->front().position, 3u);
  query.after = 3;
  EXPECT_EQ(store_->search(query)->front().position, 2u);
}

// Whoever reads all of it for minutes keeps nobody waiting, not even itself.
TEST_P(StoreConformance, AnswersWhileTheWholeLogIsRead) {
  Change change(record_of(Kind::kAccepted, "a", 1));
  change.parts.push_back(to_stored(Part("document", "{}")));
  write(std::move(change));
  int asked = 0;
  const auto ask = [&] {
    asked += store_->due("main", 0, 1).has_value() && store_->legs("a")->size() == 1 ? 1 : 0;
    return true;
  };
  EXPECT_TRUE(
      store_->scan(1, [&](Position, std::string_view, const base::Digest&) { return ask(); })
          .has_value());
  EXPECT_TRUE(store_->scan_parts(1, [&](const PartRow&) { return ask(); }).has_value());
  EXPECT_EQ(asked, 2);
}

TEST_P(StoreConformance, RemarksAClockThatWasSetBack) {
  write(Kind::kAccepted, "a", 1);
  clock_.set(std::chrono::seconds(1'700'000'000));
  write(Kind::kAccepted, "b", 1);
  const auto verification = verify(*store_);
  EXPECT_TRUE(verification->sound());
  ASSERT_EQ(verification->remarks.size(), 1u);
  EXPECT_NE(verification->remarks[0].find("record 2: the clock was set back"), std::string::npos);
}

TEST_P(StoreConformance, WritesAllOfABatchOrNothing) {
  std::vector<Change> batch;
  batch.emplace_back(record_of(Kind::kAccepted, "a", 1));
  Record bad = record_of(Kind::kReleased, "a", 1);
  bad.why = "two\nlines";
  batch.emplace_back(bad);
  EXPECT_FALSE(store_->commit(batch, clock_).has_value());
  EXPECT_EQ(*store_->size(), 0u);
  EXPECT_EQ(legs_text(*store_, {"a"}), "");
  write(Kind::kAccepted, "a", 1);
  expect_sound();
}

TEST_P(StoreConformance, GroupsWhatManyThreadsSubmit) {
  std::vector<std::thread> threads;
  std::atomic<int> durable{0};
  {
    Journal journal(*store_, clock_);
    std::atomic<std::size_t> heard{0};
    journal.add_listener([&](const std::vector<Outcome>& outcomes) { heard += outcomes.size(); });
    for (int t = 0; t < 4; ++t) {
      threads.emplace_back([&, t] {
        for (int i = 0; i < 50; ++i) {
          const std::string session = std::to_string(t) + "-" + std::to_string(i);
          EXPECT_TRUE(journal.submit(
              Change(record_of(Kind::kAccepted, session, 1)),
              [&](base::Result<Outcome> outcome) { durable += outcome.has_value() ? 1 : 0; }));
        }
      });
    }
    for (std::thread& thread : threads) {
      thread.join();
    }
    journal.stop();
    EXPECT_EQ(heard, 200u);
    EXPECT_FALSE(journal.submit(Change(record_of(Kind::kAccepted, "late", 1)), {}));
  }
  EXPECT_EQ(durable, 200);
  EXPECT_EQ(*store_->size(), 200u);
  expect_sound();
}

// One commit is for all that waits: what can never be written must not take the others with it.
TEST_P(StoreConformance, AChangeThatCanNeverBeWrittenFailsAlone) {
  Journal journal(*store_, clock_);
  std::promise<void> go;
  std::shared_future<void> wait = go.get_future().share();
  // In whatever order: what comes while the first is held back is one group or a few.
  std::mutex mutex;
  std::set<std::string> told;
  const auto note = [&](const std::string& name, const base::Error* error) {
    const std::lock_guard lock(mutex);
    told.insert(name + " " + (error != nullptr ? std::string(name_of(error->code)) : "written"));
  };
  const auto tell = [&note](const char* name) {
    return [&note, name](const base::Result<Outcome>& outcome) {
      note(name, outcome ? nullptr : &outcome.error());
    };
  };
  journal.submit(Change(record_of(Kind::kAccepted, "first", 1)),
                 [wait](const base::Result<Outcome>&) { wait.wait(); });
  Record bad = record_of(Kind::kRead, "x\ny", 0);
  Change large(record_of(Kind::kChecked, "first", 1));
  large.parts.push_back(to_stored(Part("bundle", "{}")));
  large.parts.back().too_large = true;
  journal.submit(Change(record_of(Kind::kAccepted, "a", 1)), tell("a"));
  journal.submit(Change(bad), tell("bad"));
  journal.submit(std::move(large), tell("large"));
  journal.submit(Change(record_of(Kind::kAccepted, "b", 1)), tell("b"));
  // Of two that only come together, neither.
  std::vector<Change> pair;
  pair.emplace_back(record_of(Kind::kAccepted, "c", 1));
  pair.emplace_back(bad);
  pair.back().only_with_previous = true;
  journal.submit_together(std::move(pair), [&](const base::Result<std::vector<Outcome>>& both) {
    note("pair", both ? nullptr : &both.error());
  });
  go.set_value();
  EXPECT_TRUE(journal.write(Change(record_of(Kind::kAccepted, "last", 1))).has_value());
  EXPECT_FALSE(journal.failing());
  EXPECT_FALSE(journal.write(Change(bad)).has_value());
  EXPECT_FALSE(journal.failing());
  journal.stop();
  const std::string invalid(name_of(base::ErrorCode::kInvalid));
  const std::string limit(name_of(base::ErrorCode::kLimit));
  EXPECT_EQ(told, (std::set<std::string>{"a written", "b written", "bad " + invalid,
                                         "large " + limit, "pair " + invalid}));
  EXPECT_EQ(*store_->size(), 4u);
  expect_sound();
}

TEST_P(StoreConformance, AnEmptyCommitIsATryThatLeavesNoRecord) {
  write(Kind::kAccepted, "first", 1);
  for (int i = 0; i < 3; ++i) {
    std::vector<Change> nothing;
    EXPECT_TRUE(store_->commit(nothing, clock_).has_value());
    EXPECT_TRUE(store_->agree("key", "mark").has_value());  // as whoever writes does first
  }
  EXPECT_EQ(*store_->size(), 1u);
  write(Kind::kAccepted, "second", 1);
  EXPECT_EQ(*store_->size(), 2u);
  expect_sound();
}

// Two writers saw the same leg; the first one has it.
TEST_P(StoreConformance, WritesOnlyWhileNothingWasWrittenAboutTheLegSince) {
  write(Kind::kAccepted, "a", 1);
  write(Kind::kChecked, "a", 1);
  const Leg seen = store_->due("main", 0, 1)->front();
  for (const auto verdict : {Outcome::Verdict::kWritten, Outcome::Verdict::kNotNow}) {
    Change take(record_of(Kind::kDispatched, "a", 1));
    take.only_if_changed = seen.changed;
    EXPECT_EQ(write(std::move(take)).verdict, verdict);
  }
  EXPECT_EQ(store_->legs("a")->front().attempts, 1u);
  expect_sound();
}

// What was due when somebody looked need not be when it is written that it is sent.
TEST_P(StoreConformance, SendsOnlyWhatIsStillTheFirstOfItsPatient) {
  for (const char* session : {"p1", "p2", "q1"}) {
    write(Kind::kAccepted, session, 1);
    write(Kind::kChecked, session, 1);
  }
  const auto send = [&](const char* session) {
    Change change(record_of(Kind::kDispatched, session, 1));
    change.only_if_first = true;
    return write(std::move(change)).verdict;
  };
  EXPECT_EQ(send("p2"), Outcome::Verdict::kNotNow) << "p1 waits before it";
  hold("p1", 1);
  EXPECT_EQ(send("p2"), Outcome::Verdict::kWritten);
  write(Kind::kReleased, "p1", 1);
  EXPECT_EQ(send("p1"), Outcome::Verdict::kNotNow) << "p2 of the same patient is on its way";
  EXPECT_EQ(due_text(*store_), "q1/1") << "what is due may be sent";
  EXPECT_EQ(send("q1"), Outcome::Verdict::kWritten);
  write(Kind::kLanded, "p2", 1);
  EXPECT_EQ(send("p1"), Outcome::Verdict::kWritten);
  // A correction behind an original that is on its way; both of a patient that nobody could name.
  Record unnamed = record_of(Kind::kAccepted, "r", 1);
  unnamed.patient.clear();
  write(Change(unnamed));
  write(Kind::kChecked, "r", 1);
  EXPECT_EQ(send("r"), Outcome::Verdict::kWritten);
  unnamed.revision = 2;
  unnamed.content = "content-2";
  write(Change(unnamed));
  Change second(record_of(Kind::kDispatched, "r", 2));
  second.only_if_first = true;
  EXPECT_EQ(write(std::move(second)).verdict, Outcome::Verdict::kNotNow);
  expect_sound();
}

INSTANTIATE_TEST_SUITE_P(Stores, StoreConformance, ::testing::ValuesIn(all_houses()),
                         [](const auto& row) { return std::string(row.param.name); });

}  // namespace
}  // namespace engine::journal

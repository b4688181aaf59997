#include "engine/intake/intake.h"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <future>
#include <memory>
#include <mutex>
#include <new>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "engine/intake/steering.h"
#include "engine/intake/translation.h"
#include "engine/journal/sqlite_store.h"
#include "tests/intake/core_double.h"
#include "tests/journal/fixture.h"

namespace engine::intake {
namespace {

using journal::Kind;
using journal::LegState;

class IntakeTest : public ::testing::Test {
 protected:
  void SetUp() override {
    auto store = journal::open_sqlite_store({":memory:", journal::OpenMode::kEngine});
    ASSERT_TRUE(store.has_value());
    store_ = std::move(*store);
    start();
  }
  void TearDown() override { stop(); }

  void start() {
    journal_ = std::make_unique<journal::Journal>(*store_, clock_);
    workers_ = std::make_unique<WorkPool>(2);
    std::vector<Target> targets;
    targets.emplace_back("main", &core_);
    targets.emplace_back("second", &other_core_);
    const Intake::World world{*journal_, *workers_, *workers_, key_, core_, backlog_max_};
    intake_ = std::make_unique<Intake>(world, std::move(targets), [](const std::string&) {});
  }
  void stop() {
    workers_->stop();
    journal_->stop();
    intake_.reset();
  }
  Answer send(const std::string& body, const std::string& session = "") {
    std::promise<Answer> promise;
    auto future = promise.get_future();
    intake_->accept({body, session, sender_},
                    [&promise](Answer answer) { promise.set_value(answer); });
    return future.get();
  }
  // Until no leg of the session waits to be translated.
  std::string settled(const std::string& id) {
    for (int i = 0; i < 2'000; ++i) {
      const auto legs = store_->legs(session_id_of(id));
      bool waiting = legs->empty();
      std::string out;
      for (const journal::Leg& leg : *legs) {
        waiting = waiting || leg.state == LegState::kAccepted;
        out += (out.empty() ? "" : ", ") + std::to_string(leg.revision) + " " + leg.target + " " +
               std::string(journal::name_of(leg.state)) +
               (leg.reason.empty() ? "" : "(" + leg.reason + ")");
      }
      if (!waiting) {
        return out;
      }
      std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    return "not settled";
  }
  journal::Record last_record() {
    return journal::parse_head(*store_->head_text(*store_->size()))->record;
  }

  journal::SetClock clock_;
  journal::SearchKey key_{"secret"};
  CoreDouble core_{"m1"};
  CoreDouble other_core_{"m2"};
  std::unique_ptr<journal::Store> store_;
  std::unique_ptr<journal::Journal> journal_;
  std::unique_ptr<WorkPool> workers_;
  std::unique_ptr<Intake> intake_;
  std::size_t backlog_max_ = base::limits::kBacklogMax;
  std::string sender_;
};

TEST_F(IntakeTest, WritesDownWhoSentWhatWasTakenInOrRefused) {
  sender_ = "ward-tablets";
  EXPECT_EQ(send(document_of("a", 1, "p")).status, 202);
  settled("a");
  EXPECT_EQ(journal::parse_head(*store_->head_text(1))->record.actor, "ward-tablets");
  EXPECT_EQ(send("no document").status, 400);
  EXPECT_EQ(last_record().kind, journal::Kind::kRefused);
  EXPECT_EQ(last_record().actor, "ward-tablets");
  sender_.clear();
  EXPECT_EQ(send("no document").status, 400);
  EXPECT_EQ(last_record().actor, "");
}

TEST_F(IntakeTest, RefusesToWithdrawWhatWasNeverThere) {
  const auto revision = [](int number, const std::string& more) {
    const std::string plain = document_of("a", number, "p");
    return plain.substr(0, plain.size() - 1) + "," + more + "}";
  };
  const auto without = [&](int number, const std::string& id) {
    return revision(number, R"("withdrawal":[{"entry":"v1"},{"entry":")" + id + R"("}])");
  };
  EXPECT_EQ(send(without(1, "v1")).status, 422);
  EXPECT_EQ(send(revision(1, R"("entry":[{"id":"v1"}])")).status, 202);
  EXPECT_EQ(send(revision(2, R"("entry":[{"id":"v2"}])")).status, 202);
  const Answer refused = send(without(3, "V1"));
  EXPECT_EQ(refused.status, 422);
  EXPECT_NE(refused.body.find("TherapySession.withdrawal[1].entry"), std::string::npos)
      << refused.body;
  EXPECT_EQ(last_record().kind, Kind::kRefused);
  EXPECT_EQ(send(without(3, "v2")).status, 202);
  EXPECT_EQ(send(without(3, "v2")).status, 200);
  // What a revision had that never came may be taken back all the same.
  EXPECT_EQ(send(without(5, "w")).status, 202);
}

TEST_F(IntakeTest, TellsSendersToComeBackWhileTooMuchWaits) {
  stop();
  backlog_max_ = 4;
  start();
  EXPECT_EQ(send(document_of("a", 1, "p")).status, 202);
  settled("a");
  intake_->sweep();
  EXPECT_FALSE(intake_->full()) << "two wait, one for each target";
  EXPECT_EQ(send(document_of("b", 1, "p")).status, 202);
  settled("b");
  intake_->sweep();
  const journal::Position before = *store_->size();
  const Answer refused = send(document_of("c", 1, "p"));
  EXPECT_EQ(refused.status, 503);
  EXPECT_TRUE(refused.try_later);
  EXPECT_EQ(refused.pause, std::chrono::seconds(30));
  EXPECT_NE(refused.body.find("nothing was kept"), std::string::npos);
  EXPECT_EQ(*store_->size(), before);
  // Held ones wait for a person, who may need a correction to be taken in.
  journal::Record held = journal::record_of(journal::Kind::kHeld, session_id_of("b"), 1, "second");
  held.reason = "refused";
  ASSERT_TRUE(journal::write(*store_, clock_, journal::Change(held)).has_value());
  intake_->sweep();
  EXPECT_EQ(send(document_of("c", 1, "p")).status, 202);
}

// A core that ends in an exception for some documents, as one that runs out of memory.
class ThrowingCore final : public SessionCore {
 public:
  therapy::Translator::Admission admit(std::string_view body) const override {
    if (body.find("\"refuse me\"") != std::string_view::npos) {
      throw std::bad_alloc();
    }
    return inner_.admit(body);
  }
  therapy::Translation translate(std::span<const therapy::Revision> revisions) const override {
    if (revisions.back().body.find("\"too much\"") != std::string::npos) {
      throw std::bad_alloc();
    }
    return inner_.translate(revisions);
  }
  const therapy::Provenance& provenance() const override { return inner_.provenance(); }

 private:
  CoreDouble inner_{"m1"};
};

TEST_F(IntakeTest, ACoreThatThrowsHoldsTheRevisionAndTheEngineGoesOn) {
  stop();
  const ThrowingCore throwing;
  journal_ = std::make_unique<journal::Journal>(*store_, clock_);
  workers_ = std::make_unique<WorkPool>(1);
  std::vector<Target> targets;
  targets.emplace_back("main", &throwing);
  targets.emplace_back("second", &other_core_);
  intake_ = std::make_unique<Intake>(Intake::World{*journal_, *workers_, *workers_, key_, throwing},
                                     std::move(targets), [](const std::string&) {});
  EXPECT_EQ(send(document_of("a", 1, "p", "ready", "too much")).status, 202);
  EXPECT_EQ(settled("a"), "1 main held(map-failed), 1 second checked");
  EXPECT_EQ(send(document_of("b", 1, "p", "ready", "refuse me")).status, 500);
  EXPECT_EQ(send(document_of("c", 1, "p")).status, 202);
  EXPECT_EQ(settled("c"), "1 main checked, 1 second checked");
  const journal::Position before = *store_->size();
  intake_->sweep();
  workers_->stop();
  EXPECT_EQ(*store_->size(), before) << "it is not tried again by itself";
}

// Counts what it is asked to translate.
class CountingCore final : public SessionCore {
 public:
  therapy::Translator::Admission admit(std::string_view body) const override {
    return inner_.admit(body);
  }
  therapy::Translation translate(std::span<const therapy::Revision> revisions) const override {
    ++translations;
    return inner_.translate(revisions);
  }
  const therapy::Provenance& provenance() const override { return inner_.provenance(); }
  mutable std::atomic<int> translations{0};

 private:
  CoreDouble inner_{"m1"};
};

// A journal that has what is for one target written only when it is told to.
class HaltingJournal final : public journal::Appender {
 public:
  HaltingJournal(journal::Journal& inner, std::string target)
      : inner_(inner), target_(std::move(target)) {}
  bool submit(journal::Change change, Done done) override {
    {
      const std::lock_guard lock(mutex_);
      if (halts_ && change.record.target == target_) {
        halted_.emplace_back(std::move(change), std::move(done));
        return true;
      }
    }
    return inner_.submit(std::move(change), std::move(done));
  }
  journal::Store& store() const override { return inner_.store(); }
  std::size_t halted() {
    const std::lock_guard lock(mutex_);
    return halted_.size();
  }
  void go_on() {
    const std::lock_guard lock(mutex_);
    halts_ = false;
    for (auto& [change, done] : halted_) {
      EXPECT_TRUE(inner_.submit(std::move(change), std::move(done)));
    }
    halted_.clear();
  }

 private:
  journal::Journal& inner_;
  std::string target_;
  std::mutex mutex_;
  bool halts_ = true;
  std::vector<std::pair<journal::Change, Done>> halted_;
};

TEST_F(IntakeTest, WhatOneTargetsRecordWakesIsMadeOnceForTheOther) {
  stop();
  const CountingCore first;
  const CountingCore second;
  journal_ = std::make_unique<journal::Journal>(*store_, clock_);
  workers_ = std::make_unique<WorkPool>(1);
  HaltingJournal halting(*journal_, "second");
  std::vector<Target> targets;
  targets.emplace_back("main", &first);
  targets.emplace_back("second", &second);
  intake_ = std::make_unique<Intake>(Intake::World{halting, *workers_, *workers_, key_, core_},
                                     std::move(targets), [](const std::string&) {});
  EXPECT_EQ(send(document_of("a", 1, "p")).status, 202);
  EXPECT_EQ(send(document_of("a", 2, "p")).status, 202);
  const auto seen = [this] {
    std::string out;
    const auto legs = store_->legs(session_id_of("a"));
    for (const journal::Leg& leg : *legs) {
      out += leg.target + " " + std::string(journal::name_of(leg.state)) + ", ";
    }
    return out;
  };
  const std::string waits = "main checked, second accepted, main checked, second accepted, ";
  for (int i = 0; i < 2'000 && (seen() != waits || halting.halted() == 0); ++i) {
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
  }
  EXPECT_EQ(seen(), waits);
  intake_->sweep();
  std::promise<void> done;  // what was woken has been looked at
  ASSERT_TRUE(workers_->run(session_id_of("a"), [&done] { done.set_value(); }));
  done.get_future().get();
  EXPECT_EQ(second.translations, 1);
  // Its own record wakes what waits behind it, with no sweep.
  halting.go_on();
  EXPECT_EQ(settled("a"), "1 main checked, 1 second checked, 2 main checked, 2 second checked");
  EXPECT_EQ(first.translations, 2);
  EXPECT_EQ(second.translations, 2);
  stop();
}

// As a core that was given conditions: the first holds for patients whose name begins with "y", and
// cannot be decided for those whose name begins with "u" unless it was mended.
class AskingCore : public SessionCore {
 public:
  therapy::Translator::Admission admit(std::string_view body) const override {
    therapy::Translator::Admission out = inner_.admit(body);
    const std::string patient = out.header.patient_key.substr(out.header.patient_key.find('|') + 1);
    out.meets = {patient.starts_with('y')              ? therapy::Meets::kYes
                 : patient.starts_with('u') && !mended ? therapy::Meets::kUndecided
                                                       : therapy::Meets::kNo};
    return out;
  }
  therapy::Translation translate(std::span<const therapy::Revision> revisions) const override {
    return inner_.translate(revisions);
  }
  const therapy::Provenance& provenance() const override { return inner_.provenance(); }
  base::Result<therapy::Moved> move(const therapy::Movable& session,
                                    const therapy::Move& wanted) const override {
    const std::string revision = std::to_string(session.next);
    return therapy::Moved{R"({"id":"a","patient":"n","revision":)" + revision + "}",
                          R"({"id":"a-moved","revision":1,"patient":")" + wanted.patient + "\"}"};
  }
  bool mended = false;

 private:
  CoreDouble inner_{"m1"};
};

class AskingIntake : public IntakeTest {
 protected:
  void SetUp() override {
    IntakeTest::SetUp();
    stop();
    restart();
  }
  void restart() {
    journal_ = std::make_unique<journal::Journal>(*store_, clock_);
    workers_ = std::make_unique<WorkPool>(1);
    std::vector<Target> targets;
    targets.emplace_back("main", &asking_);
    targets.emplace_back("second", &asking_);
    targets.back().condition = 0;
    intake_ =
        std::make_unique<Intake>(Intake::World{*journal_, *workers_, *workers_, key_, asking_},
                                 std::move(targets), [](const std::string&) {});
  }
  void remap(const std::string& id) {
    SteerRequest request;
    request.action = Steer::kRemap;
    request.session = session_id_of(id);
    request.target = "second";
    request.actor = "Robin Sample";
    request.why = "the condition is mended";
    auto change = steer(*store_, request);
    ASSERT_TRUE(change.has_value()) << change.error().text();
    ASSERT_TRUE(journal_->write(std::move(*change)).has_value());
    intake_->sweep();
  }
  AskingCore asking_;
};

TEST_F(AskingIntake, AMovedSessionGoesToWhomTheRightPatientIsMeantFor) {
  EXPECT_EQ(send(document_of("a", 1, "n")).status, 202);
  EXPECT_EQ(settled("a"), "1 main checked");
  therapy::Move wanted;
  wanted.patient = "y";
  wanted.actor = "Robin Sample";
  wanted.why = "wrong bed";
  for (const auto& [patient, entered] : {std::pair("y", "main,second"), {"n", "main"}}) {
    wanted.patient = patient;
    const auto moving = intake_->plan_move(session_id_of("a"), wanted);
    ASSERT_TRUE(moving.has_value()) << moving.error().text();
    EXPECT_EQ(moving->changes[0].record.targets, "main") << "wherever it went";
    EXPECT_EQ(moving->changes[1].record.targets, entered);
  }
  // Of one that went to the second, and is of somebody who is not meant for it.
  EXPECT_EQ(send(document_of("a", 2, "y")).status, 202);
  EXPECT_EQ(settled("a"), "1 main checked, 2 main checked, 2 second checked");
  const auto moving = intake_->plan_move(session_id_of("a"), wanted);
  ASSERT_TRUE(moving.has_value()) << moving.error().text();
  EXPECT_EQ(moving->changes[0].record.targets, "main,second");
  EXPECT_EQ(moving->changes[1].record.targets, "main");
}

TEST_F(AskingIntake, WhatCouldNotBeDecidedIsNotSentWhenTheAnswerIsNo) {
  EXPECT_EQ(send(document_of("a", 1, "u")).status, 202);
  EXPECT_EQ(settled("a"), "1 main checked, 1 second held(condition-failed)");
  remap("a");
  EXPECT_EQ(settled("a"), "1 main checked, 1 second held(condition-failed)");
  asking_.mended = true;
  remap("a");
  EXPECT_EQ(settled("a"), "1 main checked, 1 second held(condition-not-met)");
  // Of what never went there nothing needs to be corrected there.
  EXPECT_EQ(send(document_of("a", 2, "n")).status, 202);
  EXPECT_EQ(settled("a"),
            "1 main checked, 1 second superseded(condition-not-met), 2 main checked, 2 second "
            "held(condition-not-met)");
}

TEST_F(AskingIntake, ACorrectionFollowsWhatWentThereWhateverTheConditionSays) {
  EXPECT_EQ(send(document_of("b", 1, "y")).status, 202);
  EXPECT_EQ(settled("b"), "1 main checked, 1 second checked");
  EXPECT_EQ(send(document_of("c", 1, "y")).status, 202);
  EXPECT_EQ(settled("c"), "1 main checked, 1 second checked");
  EXPECT_EQ(send(document_of("c", 2, "u")).status, 202);
  EXPECT_EQ(settled("c"), "1 main checked, 1 second checked, 2 main checked, 2 second checked");
  EXPECT_EQ(send(document_of("b", 2, "n")).status, 202);
  EXPECT_EQ(settled("b"), "1 main checked, 1 second checked, 2 main checked, 2 second checked");
}

TEST_F(AskingIntake, ACorrectionFollowsWhatMayHaveGoneThereAndWasGivenUp) {
  EXPECT_EQ(send(document_of("b", 1, "y")).status, 202);
  EXPECT_EQ(settled("b"), "1 main checked, 1 second checked");
  for (const Kind kind : {Kind::kDispatched, Kind::kHeld, Kind::kWithdrawn}) {
    journal::Change change(journal::record_of(kind, session_id_of("b"), 1, "second"));
    change.record.unknown = kind == Kind::kHeld;
    ASSERT_TRUE(journal::write(*store_, clock_, std::move(change)).has_value());
  }
  EXPECT_EQ(send(document_of("b", 2, "n")).status, 202);
  EXPECT_EQ(settled("b"), "1 main checked, 1 second withdrawn, 2 main checked, 2 second checked");
}

TEST_F(IntakeTest, WhatWaitsForATargetThatIsNotConfiguredStopsNothing) {
  std::vector<journal::Change> batch;
  for (std::size_t i = 0; i < base::limits::kIntakeMax + 1; ++i) {
    journal::Change change(journal::record_of(Kind::kAccepted, "g" + std::to_string(i), 1));
    change.record.targets = "gone";
    batch.push_back(std::move(change));
  }
  ASSERT_TRUE(store_->commit(batch, clock_).has_value());
  journal::Change change(journal::record_of(Kind::kAccepted, session_id_of("a"), 1));
  change.record.targets = "gone,main";
  change.parts.push_back(journal::to_stored(journal::Part("document", document_of("a", 1, "p"))));
  ASSERT_TRUE(journal::write(*store_, clock_, std::move(change)).has_value());
  stop();
  backlog_max_ = 2;
  start();
  intake_->sweep();
  EXPECT_FALSE(intake_->full()) << "it is no backlog of ours";
  for (int i = 0;
       i < 2'000 && store_->legs(session_id_of("a"))->back().state == LegState::kAccepted; ++i) {
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  }
  EXPECT_EQ(store_->legs(session_id_of("a"))->back().state, LegState::kChecked);
}

TEST(WorkPool, StopsWithinATimeAlsoWhenATaskDoesNotEnd) {
  std::promise<void> begun;
  std::promise<void> go;
  WorkPool pool(2);
  EXPECT_TRUE(pool.run("a", [&] {
    begun.set_value();
    go.get_future().wait();
  }));
  begun.get_future().wait();
  EXPECT_FALSE(pool.stop_within(std::chrono::milliseconds(1)));
  EXPECT_FALSE(pool.run("a", [] {})) << "nothing is taken any more";
  go.set_value();
  EXPECT_TRUE(pool.stop_within(std::chrono::seconds(60)));
}

TEST(WorkPool, ATaskThatThrowsIsOverAndTheNextOneRuns) {
  WorkPool pool(1);
  std::promise<void> ran;
  EXPECT_TRUE(pool.run("a", [] { throw std::bad_alloc(); }));
  EXPECT_TRUE(pool.run("a", [] { throw 1; }));
  EXPECT_TRUE(pool.run("a", [&] { ran.set_value(); }));
  ran.get_future().get();
}

TEST_F(IntakeTest, AnswersWithAReceiptAndTranslatesForEveryTarget) {
  const Answer answer = send(document_of("a", 1, "p"));
  EXPECT_EQ(answer.status, 202);
  EXPECT_EQ(answer.body, R"({"session":")" + session_id_of("a") +
                             R"(","revision":1,"state":"accepted","position":1,"received":)"
                             R"("2027-01-15T08:00:00.000Z"})");
  EXPECT_EQ(settled("a"), "1 main checked, 1 second checked");
  const auto legs = store_->legs(session_id_of("a"));
  EXPECT_NE(store_->part(legs->at(0).bundle, "bundle")->find(R"("map":"m1")"), std::string::npos);
  EXPECT_NE(store_->part(legs->at(1).bundle, "bundle")->find(R"("map":"m2")"), std::string::npos);
  EXPECT_NE(store_->part(legs->at(1).bundle, "lineage")->find(R"("map":"m2")"), std::string::npos);
}

TEST_F(IntakeTest, HoldsACorrectionOfWhatWasDestroyed) {
  send(document_of("a", 1, "p"));
  settled("a");
  journal::Change shredded;
  shredded.record.kind = Kind::kShredded;
  shredded.record.patient = store_->legs(session_id_of("a"))->front().patient;
  shredded.record.reason = "even-unsent";
  ASSERT_EQ(journal::write(*store_, clock_, std::move(shredded))->verdict,
            journal::Outcome::Verdict::kWritten);
  EXPECT_EQ(send(document_of("a", 2, "p")).status, 202);
  EXPECT_EQ(settled("a"),
            "1 main checked, 1 second checked, 2 main held(document-destroyed), 2 second "
            "held(document-destroyed)");
  EXPECT_NE(reason_text("document-destroyed").find("another session"), std::string_view::npos);
}

TEST_F(IntakeTest, KnowsTheSameContentInAnotherLayout) {
  EXPECT_EQ(send(R"({"id":"a","revision":1,"patient":"p","verdict":"ready"})").status, 202);
  const Answer again =
      send("{ \"verdict\":\"ready\",\n \"patient\":\"p\",\"revision\":1, \"id\":\"a\"}");
  EXPECT_EQ(again.status, 200);
  EXPECT_NE(again.body.find(R"("position":1,)"), std::string::npos) << again.body;
  EXPECT_EQ(send(R"({"id":"a","revision":1,"patient":"p","verdict":"ready","note":"x"})").status,
            409);
  EXPECT_EQ(last_record().kind, Kind::kConflicting);
  EXPECT_NE(store_->part(*store_->size(), "document")->find("note"), std::string::npos);
}

struct Refusal {
  const char* name;
  std::string body;
  int status;
};

TEST_F(IntakeTest, RefusesAndKeepsWhatItRefused) {
  EXPECT_EQ(send(document_of("a", 3, "p")).status, 202);
  settled("a");
  const std::vector<Refusal> table = {
      {"no JSON", "{", 400},
      {"no session", "{}", 400},
      {"empty", "", 400},
      {"not UTF-8", "{\"id\":\"\xff\"}", 400},
      {"impossible value", document_of("b", 1, "p", "impossible"), 422},
      {"revision 0", document_of("b", 0, "p"), 422},
      {"revision too high", document_of("b", 100'001, "p"), 422},
      {"older revision", document_of("a", 2, "p"), 409},
  };
  for (const Refusal& row : table) {
    const Answer answer = send(row.body);
    EXPECT_EQ(answer.status, row.status) << row.name;
    EXPECT_NE(answer.body.find(R"("resourceType":"OperationOutcome")"), std::string::npos)
        << row.name;
    const Kind expected = row.status == 409 ? Kind::kConflicting : Kind::kRefused;
    EXPECT_EQ(last_record().kind, expected) << row.name;
    EXPECT_EQ(*store_->part(*store_->size(), "document"), row.body) << row.name;
  }
  EXPECT_EQ(send(document_of("b", 100'000, "p")).status, 202);
}

TEST_F(IntakeTest, KeepsOnlyTheStartOfALargeRefusedBody) {
  EXPECT_EQ(send(std::string(base::limits::kRefusedBytesMax + 1, 'x')).status, 400);
  EXPECT_EQ(store_->part(*store_->size(), "document")->size(), base::limits::kRefusedBytesMax);
}

TEST_F(IntakeTest, RefusesADocumentAtAnotherSessionsAddress) {
  EXPECT_EQ(send(document_of("a", 1, "p"), session_id_of("b")).status, 422);
  EXPECT_EQ(send(document_of("a", 1, "p"), session_id_of("a")).status, 202);
}

TEST_F(IntakeTest, HoldsWithTheOutcome) {
  EXPECT_EQ(send(document_of("a", 1, "p", "unconfirmed-value")).status, 202);
  EXPECT_EQ(settled("a"), "1 main held(unconfirmed-value), 1 second held(unconfirmed-value)");
  const auto leg = store_->legs(session_id_of("a"))->front();
  EXPECT_NE(store_->part(leg.changed, "outcome")->find("held: unconfirmed-value"),
            std::string::npos);
}

// The set in force for a target may be stricter than the one that took the document in.
TEST_F(IntakeTest, WhatASetDoesNotAdmitIsNotARecordServersRefusal) {
  EXPECT_EQ(send(document_of("a", 1, "p", "")).status, 202);
  EXPECT_EQ(settled("a"), "1 main held(not-admitted), 1 second held(not-admitted)");
  EXPECT_NE(reason_text("not-admitted").find("nothing is made of it"), std::string_view::npos);
  SteerRequest request;
  request.session = session_id_of("a");
  request.target = "main";
  request.actor = "tester";
  request.why = "seen";
  EXPECT_FALSE(steer(*store_, request).has_value()) << "nothing was made that could be sent";
  request.action = Steer::kRemap;
  EXPECT_TRUE(steer(*store_, request).has_value());
}

TEST_F(IntakeTest, BuildsALaterRevisionOnWhatMayStillLand) {
  send(document_of("a", 1, "p"));
  settled("a");
  send(document_of("a", 2, "p", "unconfirmed-value"));
  settled("a");
  send(document_of("a", 3, "p"));
  EXPECT_EQ(settled("a"),
            "1 main checked, 1 second checked, 2 main superseded(unconfirmed-value), 2 second "
            "superseded(unconfirmed-value), 3 main checked, 3 second checked");
  const auto legs = store_->legs(session_id_of("a"));
  const auto head = journal::parse_head(*store_->head_text(legs->back().bundle));
  EXPECT_EQ(basis_of(head->record.made_with).revisions, (std::vector<std::uint32_t>{1, 3}));
  EXPECT_EQ(basis_of(head->record.made_with).unsent, std::vector<std::uint32_t>{2})
      << "what it takes back counts";
  const auto loaded = load_basis(*store_, head->record);
  ASSERT_TRUE(loaded.has_value() && loaded->size() == 2);
  EXPECT_EQ(loaded->back().unsent_before.size(), 1u);
}

// What a person gave up is not said again by the next revision; what it may have put on the server
// is known to that one.
TEST_F(IntakeTest, WhatWasGivenUpInDoubtIsKnownByItsBundleAlone) {
  const auto write = [&](Kind kind, const std::string& id, std::uint32_t revision) {
    journal::Change change(journal::record_of(kind, session_id_of(id), revision));
    change.record.unknown = kind == Kind::kHeld;
    change.record.reason = kind == Kind::kHeld ? "html-answer" : "";
    ASSERT_TRUE(journal::write(*store_, clock_, std::move(change)).has_value());
  };
  const auto give_up = [&](const std::string& id, std::uint32_t revision) {
    for (const Kind kind : {Kind::kDispatched, Kind::kHeld, Kind::kWithdrawn}) {
      write(kind, id, revision);
    }
  };
  const auto made = [&](const std::string& id) {
    settled(id);
    const auto legs = store_->legs(session_id_of(id));
    const auto leg = std::find_if(legs->rbegin(), legs->rend(),
                                  [](const auto& one) { return one.target == "main"; });
    return journal::parse_head(*store_->head_text(leg->bundle))->record;
  };
  const auto sent_before = [&](const journal::Record& record) {
    return *store_->part(record.position, kSentBefore);
  };
  send(document_of("a", 1, "p", "ready", "one"));
  settled("a");
  write(Kind::kDispatched, "a", 1);
  write(Kind::kLanded, "a", 1);
  send(document_of("a", 2, "q", "ready", "two"));
  settled("a");
  give_up("a", 2);
  send(document_of("a", 3, "p", "ready", "three"));
  const journal::Record third = made("a");
  EXPECT_EQ(basis_of(third.made_with).revisions, (std::vector<std::uint32_t>{1, 3}));
  EXPECT_EQ(sent_before(third).find(R"([{"revision":1,"bundle":{)"), 0u) << sent_before(third);
  EXPECT_NE(
      sent_before(third).find(R"(,{"revision":2,"otherPatient":true,"doubtful":true,"bundle":{)"),
      std::string::npos)
      << sent_before(third);
  const auto loaded = load_basis(*store_, third);
  ASSERT_TRUE(loaded.has_value());
  EXPECT_EQ(loaded->size(), 2u);
  EXPECT_EQ(loaded->back().sent_before, sent_before(third));
  // Also when nothing else was there.
  send(document_of("b", 1, "p", "ready", "one"));
  settled("b");
  give_up("b", 1);
  send(document_of("b", 2, "p", "ready", "two"));
  const journal::Record only = made("b");
  EXPECT_EQ(basis_of(only.made_with).revisions, std::vector<std::uint32_t>{2});
  EXPECT_EQ(sent_before(only).find(R"([{"revision":1,"doubtful":true,"bundle":{)"), 0u);
}

TEST_F(IntakeTest, TranslatesAfterARestartWhatWasAcceptedBefore) {
  stop();
  // An engine that died between the receipt and the translation.
  journal::Change change;
  change.record.kind = Kind::kAccepted;
  change.record.session = session_id_of("a");
  change.record.revision = 1;
  change.record.content = "c";
  change.record.targets = "main,second";
  change.parts.push_back(journal::to_stored(journal::Part("document", document_of("a", 1, "p"))));
  std::vector<journal::Change> batch;
  batch.push_back(std::move(change));
  ASSERT_TRUE(store_->commit(batch, clock_).has_value());
  start();
  intake_->sweep();
  EXPECT_EQ(settled("a"), "1 main checked, 1 second checked");
}

TEST_F(IntakeTest, DryRunKeepsNothing) {
  std::promise<Answer> promise;
  auto future = promise.get_future();
  intake_->dry_run(document_of("a", 1, "p"), "2027-01-15T08:00:00.000Z",
                   [&](Answer answer) { promise.set_value(answer); });
  const Answer answer = future.get();
  EXPECT_EQ(answer.status, 200);
  EXPECT_NE(answer.body.find(R"("verdict":"ready")"), std::string::npos);
  EXPECT_EQ(*store_->size(), 0u);
}

TEST_F(IntakeTest, PeopleAndTherapistsAreHiddenInTheLog) {
  send(document_of("a", 1, "Jane"));
  const std::string head = *store_->head_text(1);
  EXPECT_EQ(head.find("Jane"), std::string::npos);
  EXPECT_NE(head.find("patient " + key_.hide("urn:patients|Jane")), std::string::npos);
}

TEST_F(IntakeTest, SteersOnlyWhatIsHeldAndOnlyWithAReason) {
  send(document_of("a", 1, "p", "unconfirmed-value"));
  send(document_of("b", 1, "p", "map-failed"));
  send(document_of("c", 1, "p"));
  settled("a");
  settled("b");
  settled("c");
  const auto attempt = [&](Steer action, const std::string& id, const std::string& target,
                           const std::string& why) {
    SteerRequest request;
    request.action = action;
    request.session = session_id_of(id);
    request.target = target;
    request.actor = "tester";
    request.why = why;
    const auto change = steer(*store_, request);
    return change ? std::string(journal::name_of(change->record.kind))
                  : std::string(base::name_of(change.error().code));
  };
  EXPECT_EQ(attempt(Steer::kRelease, "a", "main", "seen"), "released");
  EXPECT_EQ(attempt(Steer::kRemap, "b", "main", "mended"), "remapped");
  EXPECT_EQ(attempt(Steer::kWithdraw, "b", "second", "wrong"), "withdrawn");
  EXPECT_EQ(attempt(Steer::kRelease, "a", "main", ""), "invalid") << "no reason given";
  EXPECT_EQ(attempt(Steer::kRelease, "a", "main", "two\nlines"), "invalid");
  EXPECT_EQ(attempt(Steer::kRelease, "a", "main", std::string(1'001, 'x')), "invalid");
  EXPECT_EQ(attempt(Steer::kRelease, "a", "main", std::string(1'000, 'x')), "released");
  EXPECT_EQ(attempt(Steer::kRelease, "a", "", "seen"), "conflict") << "two targets hold it";
  EXPECT_EQ(attempt(Steer::kRelease, "b", "main", "seen"), "invalid") << "there is no bundle";
  EXPECT_EQ(attempt(Steer::kRelease, "c", "main", "seen"), "not-found") << "it is not held";
  EXPECT_EQ(attempt(Steer::kRelease, "d", "main", "seen"), "not-found") << "no such session";
}

TEST(MadeWith, NamesTheRevisions) {
  const therapy::Provenance provenance{"m", "p", "s", "1"};
  const Basis basis{{1, 2, 10}, {}};
  const std::string text = made_with(provenance, basis);
  EXPECT_EQ(text, "mapping=m profiles=p settings=s computation=1 revisions=1,2,10");
  EXPECT_EQ(basis_of(text).revisions, basis.revisions);
  const std::string more = made_with(provenance, {{1, 10}, {2, 3}});
  EXPECT_EQ(more, "mapping=m profiles=p settings=s computation=1 revisions=1,10 unsent=2,3");
  EXPECT_EQ(basis_of(more).revisions, (std::vector<std::uint32_t>{1, 10}));
  EXPECT_EQ(basis_of(more).unsent, (std::vector<std::uint32_t>{2, 3}));
  for (const char* none : {"", "mapping=m", "a revisions=", "a revisions=x", "a revisions=1,,2"}) {
    EXPECT_TRUE(basis_of(none).revisions.empty()) << none;
  }
}

}  // namespace
}  // namespace engine::intake

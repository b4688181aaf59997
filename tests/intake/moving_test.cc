// What a session is moved with: of which of its revisions the new one is made, and from whose chart
// the old one is taken back.

#include "engine/intake/moving.h"

#include <memory>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "engine/intake/steering.h"
#include "engine/journal/sqlite_store.h"
#include "tests/intake/core_double.h"
#include "tests/journal/fixture.h"

namespace engine::intake {
namespace {

using journal::Kind;

// Writes down what it was given.
class MovingCore final : public SessionCore {
 public:
  therapy::Translator::Admission admit(std::string_view body) const override {
    return inner_.admit(body);
  }
  therapy::Translation translate(std::span<const therapy::Revision> revisions) const override {
    return inner_.translate(revisions);
  }
  const therapy::Provenance& provenance() const override { return inner_.provenance(); }
  base::Result<therapy::Moved> move(const therapy::Movable& session,
                                    const therapy::Move& wanted) const override {
    const std::string next = std::to_string(session.next);
    given = "said" + notes_of(session.said) + ", charted" + notes_of(session.charted) +
            ", in doubt" + notes_of(session.in_doubt) + ", next " + next;
    return therapy::Moved{R"({"id":"a","patient":"wrong","revision":)" + next + "}",
                          R"({"id":"a-moved","revision":1,"patient":")" + wanted.patient + "\"}"};
  }
  mutable std::string given;

 private:
  std::string notes_of(const std::vector<therapy::Revision>& revisions) const {
    std::string out;
    for (const therapy::Revision& one : revisions) {
      json::Document document(names_);
      out += document.parse(one.body) ? " " + std::string(document.root()->string_at("note")) : "?";
    }
    return out;
  }
  json::NameTable names_;
  CoreDouble inner_{"m1"};
};

class MovingTest : public ::testing::Test {
 protected:
  void SetUp() override {
    store_ = std::move(*journal::open_sqlite_store({":memory:", journal::OpenMode::kEngine}));
  }
  void write(Kind kind, int revision, const std::string& target = "main", bool unknown = false) {
    journal::Change change(
        journal::record_of(kind, session_id_of("a"), static_cast<std::uint32_t>(revision)));
    change.record.target = target;
    change.record.unknown = unknown;
    if (kind == Kind::kAccepted) {
      change.record.targets = std::exchange(change.record.target, "");
      change.parts.push_back(journal::to_stored(journal::Part(
          "document", document_of("a", revision, "p", "ready", "r" + std::to_string(revision)))));
    }
    ASSERT_TRUE(journal::write(*store_, clock_, std::move(change)).has_value());
  }
  void accept(int revision, const std::string& targets = "main") {
    write(Kind::kAccepted, revision, targets);
  }
  void land(int revision, const std::string& target = "main") {
    for (const Kind kind : {Kind::kChecked, Kind::kDispatched, Kind::kLanded}) {
      write(kind, revision, target);
    }
  }
  // Refused by the server, or answered so that nobody knows.
  void refuse(int revision, const std::string& target = "main", bool unknown = false) {
    write(Kind::kChecked, revision, target);
    write(Kind::kDispatched, revision, target);
    write(Kind::kHeld, revision, target, unknown);
  }
  base::Result<Moving> plan(std::span<const Target> targets = {}) const {
    therapy::Move wanted;
    wanted.patient = "right";
    wanted.actor = "Robin Sample";
    wanted.why = "wrong bed";
    return move_to_patient(*store_, core_, key_, session_id_of("a"), wanted, targets);
  }
  std::string planned() const {
    core_.given.clear();
    const auto moving = plan();
    std::string out = moving ? core_.given : moving.error().text();
    for (const std::uint32_t one : moving ? moving->left_out : std::vector<std::uint32_t>()) {
      out += ", without r" + std::to_string(one);
    }
    return out;
  }
  // Done and written; what it was, or why not.
  std::string steered(Steer action, const std::string& target) {
    SteerRequest request;
    request.action = action;
    request.session = session_id_of("a");
    request.target = target;
    request.actor = "Robin Sample";
    request.why = "the chart is still wrong";
    auto change = steer(*store_, request);
    if (!change) {
      return std::string(base::name_of(change.error().code));
    }
    const auto outcome = journal::write(*store_, clock_, std::move(*change));
    return outcome && outcome->verdict == journal::Outcome::Verdict::kWritten
               ? std::string(journal::name_of(outcome->record.kind))
               : "not written";
  }
  // Writes the move, as a person who asked for it has it done.
  void move() {
    auto moving = plan();
    ASSERT_TRUE(moving.has_value()) << moving.error().text();
    const auto outcomes = store_->commit(moving->changes, clock_);
    ASSERT_TRUE(outcomes.has_value() && check_moved(*outcomes).has_value());
  }

  journal::SetClock clock_;
  journal::SearchKey key_{"secret"};
  MovingCore core_;
  std::unique_ptr<journal::Store> store_;
};

TEST_F(MovingTest, IsMadeOfWhatStandsAndTakenBackFromWhereItIs) {
  EXPECT_EQ(plan().error().code, base::ErrorCode::kNotFound);
  accept(1);
  EXPECT_EQ(planned(), "said r1, charted r1, in doubt, next 2") << "it waits";
  land(1);
  accept(2);
  EXPECT_EQ(planned(), "said r1 r2, charted r1, in doubt, next 3") << "it may yet be held";
  land(2);
  EXPECT_EQ(planned(), "said r1 r2, charted r2, in doubt, next 3");
}

TEST_F(MovingTest, IsNotHalfDoneWhenTheNewIdentifierIsTakenMeanwhile) {
  accept(1);
  auto moving = plan();
  ASSERT_TRUE(moving.has_value()) << moving.error().text();
  journal::Change taken(journal::record_of(Kind::kAccepted, moving->entered, 1));
  ASSERT_TRUE(journal::write(*store_, clock_, std::move(taken)).has_value());
  const auto outcomes = store_->commit(moving->changes, clock_);
  ASSERT_TRUE(outcomes.has_value());
  const auto done = check_moved(*outcomes);
  ASSERT_FALSE(done.has_value());
  EXPECT_EQ(done.error().detail,
            "the identifier that the new session would get is taken: give another");
  EXPECT_EQ(store_->acceptances(session_id_of("a"))->size(), 1u) << "nothing was taken back";
}

TEST_F(MovingTest, WhatIsHeldIsTheSendersWordAndOnNoChart) {
  accept(1);
  land(1);
  accept(2);
  write(Kind::kHeld, 2);
  EXPECT_EQ(planned(), "said r1 r2, charted r1, in doubt, next 3");
}

TEST_F(MovingTest, WhatWasGivenUpIsLeftOut) {
  accept(1);
  land(1);
  accept(2);
  refuse(2);
  write(Kind::kWithdrawn, 2);
  EXPECT_EQ(planned(), "said r1, charted r1, in doubt, next 3, without r2");
  accept(3);
  EXPECT_EQ(planned(), "said r1 r3, charted r1, in doubt, next 4, without r2");
}

TEST_F(MovingTest, WhatWasGivenUpInDoubtMayBeOnItsPatientsChart) {
  accept(1);
  land(1);
  accept(2);
  refuse(2, "main", true);
  EXPECT_EQ(planned(), "said r1 r2, charted r2, in doubt r1, next 3") << "held, and perhaps there";
  write(Kind::kWithdrawn, 2);
  EXPECT_EQ(planned(), "said r1, charted r1, in doubt r2, next 3, without r2");
  accept(3);
  land(3);
  EXPECT_EQ(planned(), "said r1 r3, charted r3, in doubt, next 4, without r2") << "corrected since";
}

TEST_F(MovingTest, EachRecordServerHasItsOwnChart) {
  accept(1, "main,second");
  land(1);
  refuse(1, "second");
  write(Kind::kWithdrawn, 1, "second");
  accept(2, "main,second");
  refuse(2);
  land(2, "second");
  EXPECT_EQ(planned(), "said r1 r2, charted r2 r1, in doubt, next 3");
  write(Kind::kWithdrawn, 2);
  EXPECT_EQ(planned(), "said r1 r2, charted r2 r1, in doubt, next 3") << "it stands for one";
}

// A record server may have another name by now, or be another one to which all was sent again.
TEST_F(MovingTest, WhatIsTakenBackIsLookedForAtWhoeverCameSince) {
  const auto targets = [this](std::span<const Target> configured) {
    auto moving = plan(configured);
    EXPECT_TRUE(moving.has_value());
    return moving->changes[0].record.targets + " / " + moving->changes[1].record.targets;
  };
  const auto start = [this](const std::string& names) {
    journal::Change started(journal::record_of(Kind::kStarted, "", 0));
    started.record.targets = names;
    started.record.target.clear();
    ASSERT_TRUE(journal::write(*store_, clock_, std::move(started)).has_value());
  };
  start("main,second");
  accept(1);
  land(1);
  EXPECT_EQ(targets({}), "main / main");
  const Target both[] = {{"main", &core_}, {"second", &core_}};
  EXPECT_EQ(targets(both), "main,second / main,second") << "it came later, and is meant for it";
  start("hill");
  EXPECT_EQ(targets({}), "main,hill / main");
  EXPECT_EQ(targets(std::span(both).subspan(1)), "main,hill,second / second");
}

TEST_F(MovingTest, WhatWasGivenUpAltogetherIsMovedAsItWas) {
  accept(1);
  refuse(1);
  write(Kind::kWithdrawn, 1);
  EXPECT_EQ(planned(), "said r1, charted r1, in doubt, next 2");
  accept(2);
  refuse(2);
  write(Kind::kWithdrawn, 2);
  EXPECT_EQ(planned(), "said r2, charted r2, in doubt, next 3, without r1");
}

TEST_F(MovingTest, WhatNoRecordServerIsMeantForIsMovedToo) {
  accept(1, "");
  accept(2, "");
  EXPECT_EQ(planned(), "said r1 r2, charted r2, in doubt, next 3");
}

TEST_F(MovingTest, NothingIsMovedTwiceAlsoWhenTheTakingBackWasGivenUp) {
  accept(1);
  land(1);
  move();
  EXPECT_EQ(plan().error().code, base::ErrorCode::kConflict);
  refuse(2);
  write(Kind::kWithdrawn, 2);
  const auto size = *store_->size();
  EXPECT_EQ(plan().error().code, base::ErrorCode::kConflict);
  EXPECT_EQ(*store_->size(), size);
}

// Otherwise the chart of the wrong patient could be put right by nothing any more.
TEST_F(MovingTest, ATakingBackThatWasGivenUpIsBroughtBack) {
  accept(1, "main,second");
  land(1);
  land(1, "second");
  move();
  refuse(2);
  write(Kind::kWithdrawn, 2);
  write(Kind::kWithdrawn, 2, "second");  // as for a target that is not configured any more
  EXPECT_EQ(steered(Steer::kRelease, "main"), "not-found");
  EXPECT_EQ(steered(Steer::kWithdraw, "main"), "not-found");
  EXPECT_EQ(steered(Steer::kRemap, ""), "conflict") << "of which target";
  EXPECT_EQ(steered(Steer::kRemap, "main"), "remapped");
  EXPECT_EQ(steered(Steer::kRemap, "main"), "not-found") << "it waits again";
  EXPECT_EQ(steered(Steer::kRemap, "second"), "remapped");
  EXPECT_EQ(journal::legs_text(*store_, {session_id_of("a")}),
            session_id_of("a") + "/1 landed, " + session_id_of("a") + "/1 landed, " +
                session_id_of("a") + "/2 accepted, " + session_id_of("a") + "/2 accepted");
  EXPECT_TRUE(store_->check_fold(1)->empty());
}

TEST_F(MovingTest, NothingElseThatWasGivenUpIs) {
  accept(1);
  refuse(1);
  write(Kind::kWithdrawn, 1);
  EXPECT_EQ(steered(Steer::kRemap, "main"), "not-found");
  move();
  EXPECT_EQ(steered(Steer::kRemap, "main"), "not-found");
}

}  // namespace
}  // namespace engine::intake

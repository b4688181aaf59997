// The latest traffic through changed maps, beside an engine that works.

#include <memory>
#include <string>
#include <utility>

#include <gtest/gtest.h>

#include "engine/intake/translation.h"
#include "engine/journal/sqlite_store.h"
#include "engine/replay/replay.h"
#include "tests/intake/core_double.h"
#include "tests/journal/fixture.h"

namespace engine::replay {
namespace {

using intake::CoreDouble;
using intake::document_of;
using intake::session_id_of;
using journal::Change;
using journal::Kind;

// Makes what the set m1 makes with a text replaced, under another name, and counts what it was
// asked.
class OtherCore final : public intake::SessionCore {
 public:
  OtherCore(std::string mapping, std::string from, std::string to)
      : provenance_{std::move(mapping), "p1", "s1", "1"},
        from_(std::move(from)),
        to_(std::move(to)) {}
  therapy::Translator::Admission admit(std::string_view body) const override {
    return inner_.admit(body);
  }
  therapy::Translation translate(std::span<const therapy::Revision> revisions) const override {
    ++asked_;
    therapy::Translation out = inner_.translate(revisions);
    for (std::size_t at = out.bundle.find(from_); at != std::string::npos;
         at = out.bundle.find(from_, at + to_.size())) {
      out.bundle.replace(at, from_.size(), to_);
    }
    return out;
  }
  const therapy::Provenance& provenance() const override { return provenance_; }
  int asked() const { return asked_; }

 private:
  CoreDouble inner_{"m1"};
  therapy::Provenance provenance_;
  std::string from_;
  std::string to_;
  mutable int asked_ = 0;
};

class LookBack : public ::testing::Test {
 protected:
  void SetUp() override {
    store_ = std::move(*journal::open_sqlite_store({":memory:", journal::OpenMode::kEngine}));
    for (int i = 0; i < 12; ++i) {
      take_in("s" + std::to_string(i), i % 4 == 0 ? "unconfirmed-value" : "ready");
    }
  }
  void take_in(const std::string& id, const std::string& verdict, const std::string& reason = "") {
    Change accepted;
    accepted.record.kind = Kind::kAccepted;
    accepted.record.session = session_id_of(id);
    accepted.record.revision = 1;
    accepted.record.content = id;
    accepted.record.targets = "main";
    accepted.parts.push_back(
        journal::to_stored(journal::Part("document", document_of(id, 1, "p", verdict, "n"))));
    ASSERT_TRUE(journal::write(*store_, clock_, std::move(accepted)).has_value());
    const auto legs = store_->legs(session_id_of(id));
    auto change = intake::translate_leg(*store_, core_, legs->back(), *legs);
    ASSERT_TRUE(change.has_value());
    change->record.reason = reason.empty() ? change->record.reason : reason;
    ASSERT_TRUE(journal::write(*store_, clock_, std::move(*change)).has_value());
  }
  static Look all() {
    Look look;
    look.limit = 100;
    look.kinds_max = 10;
    return look;
  }

  journal::SetClock clock_;
  CoreDouble core_{"m1"};
  OtherCore renamed_{"m2", R"("note":)", R"("text":)"};
  std::unique_ptr<journal::Store> store_;
};

TEST_F(LookBack, PassesOverWhatWasMadeForTargetsWithOtherSets) {
  Look look = all();
  look.whose.apart = {"main"};
  const auto report = look_back(*store_, core_, renamed_, look);
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->looked, 0u);
  EXPECT_EQ(report->left_out, 12u);
  EXPECT_TRUE(report->kinds.empty());
}

TEST_F(LookBack, TellsTheDifferencesByKindWithExamples) {
  Look look = all();
  look.examples_max = 2;
  const auto report = look_back(*store_, core_, renamed_, look);
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->looked, 12u);
  EXPECT_EQ(report->same, 0u);
  EXPECT_EQ(report->next, 0u);
  ASSERT_EQ(report->kinds.size(), 2u);
  const LookReport::Kind& removed = report->kinds.at("Observation.note removed");
  EXPECT_EQ(removed.count, 12u);
  EXPECT_EQ(removed.translations, 12u);
  ASSERT_EQ(removed.examples.size(), 2u);
  EXPECT_EQ(removed.examples[0].at.session, session_id_of("s11"));  // the latest first
  EXPECT_EQ(removed.examples[1].at.session, session_id_of("s10"));
  EXPECT_EQ(removed.examples[0].change.element, "/entry/0/resource/note");
  EXPECT_EQ(removed.examples[0].change.before, R"("n")");
}

TEST_F(LookBack, FindsNothingBetweenASetAndItself) {
  const auto report = look_back(*store_, core_, core_, all());
  EXPECT_EQ(report->looked, 12u);
  EXPECT_EQ(report->same, 12u);
  EXPECT_TRUE(report->kinds.empty());
}

// Such a record once had the reason of a record server's refusal, and is in journals of that time.
TEST_F(LookBack, FindsNothingWhereOnlyTheReasonsNameIsAnother) {
  take_in("not-admitted", "", "refused");
  Look look = all();
  look.limit = 1;
  for (const char* in_force : {"m1", "m2"}) {
    const OtherCore core(in_force, "\x01", "");
    EXPECT_EQ(look_back(*store_, core, core_, look)->same, 1u) << in_force;
  }
  const auto report = what_if(*store_, core_, {}, 1, {});
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->same, 13u);
}

TEST_F(LookBack, TakesFromTheJournalWhatTheSetInForceMade) {
  const OtherCore same("m1", "\x01", "");
  ASSERT_TRUE(look_back(*store_, same, renamed_, all()).has_value());
  EXPECT_EQ(same.asked(), 0);
  // Another set is in force now: what the journal holds was not made by it.
  const OtherCore other("m3", R"("note":)", R"("text":)");
  const auto report = look_back(*store_, other, renamed_, all());
  EXPECT_EQ(other.asked(), 12);
  EXPECT_EQ(report->same, 12u);
}

TEST_F(LookBack, StopsAtItsLimitAndGoesOnFromThere) {
  Look look = all();
  look.limit = 5;
  const auto first = look_back(*store_, core_, renamed_, look);
  EXPECT_EQ(first->looked, 5u);
  ASSERT_NE(first->next, 0u);
  look.before = first->next;
  look.limit = 100;
  const auto rest = look_back(*store_, core_, renamed_, look);
  EXPECT_EQ(rest->looked, 7u);
  EXPECT_EQ(rest->kinds.at("Observation.note removed").examples[0].at.session, session_id_of("s6"));
  EXPECT_EQ(rest->next, 0u);
}

TEST_F(LookBack, StopsWhenItIsEnough) {
  Look look = all();
  int asked = 0;
  look.enough = [&asked] { return ++asked > 3; };
  const auto report = look_back(*store_, core_, renamed_, look);
  EXPECT_EQ(report->looked, 3u);
  EXPECT_NE(report->next, 0u);
}

TEST_F(LookBack, CountsKindsPastTheBoundTogether) {
  Look look = all();
  look.kinds_max = 1;
  const auto report = look_back(*store_, core_, renamed_, look);
  EXPECT_EQ(report->kinds.size(), 1u);
  EXPECT_EQ(report->other_kinds, 12u);
}

TEST_F(LookBack, KeepsToItsRange) {
  Look look = all();
  look.range.until = "1990-01-01T00:00:00.000Z";
  EXPECT_EQ(look_back(*store_, core_, renamed_, look)->looked, 0u);
}

}  // namespace
}  // namespace engine::replay

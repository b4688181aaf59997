#include "engine/replay/replay.h"

#include <memory>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "engine/intake/translation.h"
#include "engine/journal/sqlite_store.h"
#include "tests/intake/core_double.h"
#include "tests/journal/fixture.h"

namespace engine::replay {
namespace {

using intake::CoreDouble;
using intake::document_of;
using intake::session_id_of;
using journal::Change;
using journal::Kind;

// Changes what a mapping would: one member of every resource, and drops one verdict.
class OtherCore final : public intake::SessionCore {
 public:
  therapy::Translator::Admission admit(std::string_view body) const override {
    return inner_.admit(body);
  }
  therapy::Translation translate(std::span<const therapy::Revision> revisions) const override {
    therapy::Translation out = inner_.translate(revisions);
    const std::string from = R"("note":)";
    for (std::size_t at = out.bundle.find(from); at != std::string::npos;
         at = out.bundle.find(from, at + 1)) {
      out.bundle.replace(at, from.size(), R"("text":)");
    }
    return out;
  }
  const therapy::Provenance& provenance() const override { return inner_.provenance(); }

 private:
  CoreDouble inner_{"m1"};
};

// As a later program is: the same sets, and another computation.
template <class Core>
class Later final : public intake::SessionCore {
 public:
  Later() : provenance_(inner_.provenance()) { provenance_.computation_version = "2"; }
  therapy::Translator::Admission admit(std::string_view body) const override {
    return inner_.admit(body);
  }
  therapy::Translation translate(std::span<const therapy::Revision> revisions) const override {
    return inner_.translate(revisions);
  }
  const therapy::Provenance& provenance() const override { return provenance_; }

 private:
  Core inner_;
  therapy::Provenance provenance_;
};

class ReplayTest : public ::testing::Test {
 protected:
  void SetUp() override {
    store_ = std::move(*journal::open_sqlite_store({":memory:", journal::OpenMode::kEngine}));
    for (int i = 0; i < 30; ++i) {
      take_in("s" + std::to_string(i), 1, i % 10 == 0 ? "unconfirmed-value" : "ready");
    }
    take_in("s1", 2, "ready");
  }
  void take_in(const std::string& id, int revision, const std::string& verdict) {
    Change accepted;
    accepted.record.kind = Kind::kAccepted;
    accepted.record.session = session_id_of(id);
    accepted.record.revision = static_cast<std::uint32_t>(revision);
    accepted.record.content = id + std::to_string(revision);
    accepted.record.targets = "main";
    accepted.parts.push_back(journal::to_stored(
        journal::Part("document", document_of(id, revision, "p", verdict, "n"))));
    ASSERT_TRUE(journal::write(*store_, clock_, std::move(accepted)).has_value());
    const auto legs = store_->legs(session_id_of(id));
    auto change = intake::translate_leg(*store_, core_, legs->back(), *legs);
    ASSERT_TRUE(change.has_value());
    ASSERT_TRUE(journal::write(*store_, clock_, std::move(*change)).has_value());
  }

  journal::SetClock clock_;
  CoreDouble core_{"m1"};
  std::unique_ptr<journal::Store> store_;
};

TEST_F(ReplayTest, ProvesThatEveryBundleComesFromItsDocuments) {
  for (const std::size_t threads : {1U, 3U}) {
    const auto report = verify(*store_, core_, {}, threads, {});
    ASSERT_TRUE(report.has_value());
    EXPECT_EQ(report->translations, 31u);
    EXPECT_EQ(report->same, 31u);
    EXPECT_TRUE(report->verified());
  }
}

TEST_F(ReplayTest, TellsOtherInputsFromOtherResults) {
  const auto other = verify(*store_, CoreDouble("m2"), {}, 1, {});
  EXPECT_EQ(other->same, 0u);
  EXPECT_EQ(other->other_sets, (std::map<std::string, std::uint64_t>{{"mapping", 31}}));
  EXPECT_FALSE(other->verified());
  const auto changed = verify(*store_, OtherCore(), {}, 1, {});
  EXPECT_EQ(changed->faults.size(), 31u);
  EXPECT_EQ(changed->faults.front().what, "the bundle differs");
  EXPECT_FALSE(changed->verified());
}

// Whoever made it: what comes out the same is proved.
TEST_F(ReplayTest, ComparesWhatAnotherComputationMade) {
  const auto same = verify(*store_, Later<CoreDouble>(), {}, 2, {});
  EXPECT_EQ(same->same, 31u);
  EXPECT_EQ(same->same_by_other, 31u);
  EXPECT_TRUE(same->verified());
  const auto unlike = verify(*store_, Later<OtherCore>(), {}, 2, {});
  EXPECT_EQ(unlike->translations, 31u);
  EXPECT_EQ(unlike->same, 0u);
  EXPECT_EQ(unlike->other_sets, (std::map<std::string, std::uint64_t>{{"computation", 31}}));
  EXPECT_TRUE(unlike->faults.empty());
  EXPECT_FALSE(unlike->verified());
  const auto only = verify(*store_, Later<CoreDouble>(), {}, 2, {},
                           "mapping=m1 profiles=p1 settings=s1 computation=1");
  EXPECT_EQ(only->same, 31u);
}

TEST_F(ReplayTest, SaysWhatWouldBeDifferentAndHowOften) {
  const auto report = what_if(*store_, OtherCore(), {}, 2, {});
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(report->translations, 31u);
  EXPECT_EQ(report->same, 0u);
  std::string kinds;
  for (const auto& [kind, difference] : report->differences) {
    kinds += kind + " " + std::to_string(difference.count) + "; ";
  }
  // 31 bundles; the one of s1's second revision has an entry for each revision.
  EXPECT_EQ(kinds, "Observation.note removed 32; Observation.text added 32; ");
  EXPECT_EQ(report->differences.at("Observation.note removed").before, R"("n")");
}

TEST_F(ReplayTest, FindsNothingDifferentUnderTheSameMaps) {
  const auto report = what_if(*store_, core_, {}, 2, {});
  EXPECT_EQ(report->same, 31u);
  EXPECT_TRUE(report->differences.empty());
}

TEST_F(ReplayTest, LeavesOutWhatWasMadeForTargetsWithOtherSets) {
  Whose whose;
  whose.apart = {"main"};
  const auto others = what_if(*store_, OtherCore(), {}, 2, {}, whose);
  ASSERT_TRUE(others.has_value());
  EXPECT_EQ(others->translations, 0u);
  EXPECT_TRUE(others->differences.empty());
  EXPECT_EQ(others->left_out, (std::map<std::string, std::uint64_t>{{"main", 31}}));
  whose.target = "main";  // asked for by name
  const auto asked = what_if(*store_, core_, {}, 2, {}, whose);
  EXPECT_EQ(asked->same, 31u);
  EXPECT_EQ(asked->compared, (std::map<std::string, std::uint64_t>{{"main", 31}}));
  whose.target = "second";
  EXPECT_EQ(what_if(*store_, core_, {}, 2, {}, whose)->translations, 0u);
}

TEST_F(ReplayTest, NamesAVerdictThatWouldBeAnother) {
  class Strict final : public intake::SessionCore {
   public:
    therapy::Translator::Admission admit(std::string_view body) const override {
      return inner_.admit(body);
    }
    therapy::Translation translate(std::span<const therapy::Revision> all) const override {
      therapy::Translation out = inner_.translate(all);
      out.verdict = therapy::Verdict::kHeld;
      out.hold_reason = "unknown-code";
      return out;
    }
    const therapy::Provenance& provenance() const override { return inner_.provenance(); }

   private:
    CoreDouble inner_{"m1"};
  };
  const auto report = what_if(*store_, Strict(), {}, 1, {});
  EXPECT_EQ(report->differences.at("verdict: held (unknown-code), was ready").count, 28u);
  EXPECT_EQ(
      report->differences.at("verdict: held (unknown-code), was held (unconfirmed-value)").count,
      3u);
}

TEST_F(ReplayTest, CountsWhatWasDestroyedOnPurposeAndGoesOn) {
  clock_.set(std::chrono::seconds(1'900'000'000));
  take_in("young", 1, "ready");
  // What is held or waits to be sent is kept.
  for (const char* id : {"s1", "s2", "s10"}) {
    const auto legs = store_->legs(session_id_of(id));
    for (const journal::Leg& leg : *legs) {
      journal::Record ended = journal::record_of(Kind::kWithdrawn, leg.session, leg.revision);
      ASSERT_TRUE(journal::write(*store_, clock_, Change(ended)).has_value());
    }
  }
  Change expired;
  expired.record.kind = Kind::kExpired;
  expired.destroy_before = "2033-01-01T00:00:00.000Z";
  expired.destroy_max = 1'000;
  clock_.set(std::chrono::seconds(2'000'000'000));
  const auto outcome = journal::write(*store_, clock_, std::move(expired));
  ASSERT_EQ(outcome->verdict, journal::Outcome::Verdict::kWritten);
  for (const std::size_t threads : {1U, 3U}) {
    const auto report = verify(*store_, core_, {}, threads, {});
    ASSERT_TRUE(report.has_value()) << report.error().text();
    EXPECT_EQ(report->destroyed, 4u) << "s1 has two revisions";
    EXPECT_EQ(report->translations, 28u);
    EXPECT_EQ(report->same, 28u);
    EXPECT_TRUE(report->verified());
    // Whoever made them: what another core made of nothing that is left is not asked for any more.
    const auto other = verify(*store_, CoreDouble("m2"), {}, threads, {});
    EXPECT_EQ(other->destroyed, 4u);
    EXPECT_EQ(other->translations, 28u);
    EXPECT_EQ(other->other_sets, (std::map<std::string, std::uint64_t>{{"mapping", 28}}));
    EXPECT_EQ(other->others.begin()->second.count, 28u);
    EXPECT_EQ(other->others.begin()->second.destroyed, 4u);
    const auto own = verify(*store_, CoreDouble("m2"), {}, threads, {},
                            "mapping=m2 profiles=p1 settings=s1 computation=1");
    EXPECT_EQ(own->translations + own->destroyed + own->others.size(), 0u);
    const auto what = what_if(*store_, core_, {}, threads, {});
    EXPECT_EQ(what->destroyed, 4u);
    EXPECT_TRUE(what->differences.empty());
  }
  Look look;
  look.limit = 100;
  look.kinds_max = 10;
  const auto looked = look_back(*store_, core_, OtherCore(), look);
  ASSERT_TRUE(looked.has_value()) << looked.error().text();
  EXPECT_EQ(looked->looked, 28u);
}

TEST_F(ReplayTest, KeepsToItsRange) {
  clock_.set(std::chrono::seconds(1'800'000'600));
  take_in("late", 1, "ready");
  const auto late = verify(*store_, core_, {"2027-01-15T08:05:00.000Z", ""}, 1, {});
  EXPECT_EQ(late->translations, 1u);
  const auto early = verify(*store_, core_, {"", "2027-01-15T08:05:00.000Z"}, 1, {});
  EXPECT_EQ(early->translations, 31u);
}

}  // namespace
}  // namespace engine::replay

// One damaged body takes nothing else with it: what hangs on it is named or counted, the rest told.

#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "engine/intake/translation.h"
#include "engine/journal/sqlite_store.h"
#include "engine/replay/delay.h"
#include "engine/replay/replay.h"
#include "engine/replay/reports.h"
#include "tests/intake/core_double.h"
#include "tests/journal/fixture.h"
#include "tests/journal/growing_store.h"

namespace engine::replay {
namespace {

using intake::CoreDouble;
using intake::session_id_of;
using journal::Change;
using journal::Kind;
using journal::Position;
using journal::Record;

class DamagedStore final : public journal::GrowingStore {
 public:
  explicit DamagedStore(journal::Store& store) : GrowingStore(store, nullptr) {}
  base::Result<std::string> part(Position position, std::string_view name) const override {
    if (position == at && name == what) {
      return base::Error(base::ErrorCode::kCorrupt, "its bytes are not what its head says",
                         "record " + std::to_string(position));
    }
    return GrowingStore::part(position, name);
  }
  Position at = 0;
  std::string what;
};

class Damaged : public ::testing::Test {
 protected:
  void SetUp() override {
    inner_ = std::move(*journal::open_sqlite_store({":memory:", journal::OpenMode::kEngine}));
    store_ = std::make_unique<DamagedStore>(*inner_);
    for (const char* id : {"a", "b", "c"}) {
      for (std::uint32_t revision : {1U, 2U}) {
        take_in(id, revision);
      }
    }
  }
  void take_in(const std::string& id, std::uint32_t revision) {
    Change accepted(journal::record_of(Kind::kAccepted, session_id_of(id), revision));
    accepted.record.patient = "p";
    accepted.record.therapist = "t";
    accepted.record.content = id + std::to_string(revision);
    accepted.parts.push_back(journal::to_stored(journal::Part(
        "document", R"({"id":")" + id + R"(","revision":)" + std::to_string(revision) +
                        R"(,"patient":"p","note":")" + std::to_string(revision) +
                        R"(","change":{"reason":"Misread"},)"
                        R"("period":{"end":"2027-01-15T07:00:00Z"}})")));
    const auto taken = journal::write(*inner_, clock_, std::move(accepted));
    ASSERT_TRUE(taken.has_value());
    const auto legs = inner_->legs(session_id_of(id));
    auto change = intake::translate_leg(*inner_, core_, legs->back(), *legs);
    ASSERT_TRUE(change.has_value());
    const auto checked = journal::write(*inner_, clock_, std::move(*change));
    ASSERT_TRUE(checked.has_value());
    ASSERT_TRUE(journal::write(
        *inner_, clock_, Change(journal::record_of(Kind::kLanded, session_id_of(id), revision))));
    if (id == "b" && revision == 1) {
      document_ = taken->position;
      bundle_ = checked->position;
    }
  }
  void damage(Position at, const char* what) {
    store_->at = at;
    store_->what = what;
  }

  journal::SetClock clock_;
  CoreDouble core_{"m1"};
  std::unique_ptr<journal::Store> inner_;
  std::unique_ptr<DamagedStore> store_;
  Position document_ = 0;  // records of the first revision of b
  Position bundle_ = 0;
};

TEST_F(Damaged, ABundleIsAFaultOfItsTranslation) {
  damage(bundle_, "bundle");
  const auto report = verify(*store_, core_, {}, 2, {});
  ASSERT_TRUE(report.has_value()) << report.error().text();
  EXPECT_EQ(report->translations, 6u);
  EXPECT_EQ(report->same, 5u);
  ASSERT_EQ(report->faults.size(), 1u);
  EXPECT_EQ(report->faults[0].position, bundle_);
  const auto what = what_if(*store_, core_, {}, 2, {});
  ASSERT_TRUE(what.has_value()) << what.error().text();
  EXPECT_EQ(what->same, 5u);
  EXPECT_EQ(what->differences.size(), 1u);
  Look look;
  look.limit = 100;
  const auto looked = look_back(*store_, core_, core_, look);
  ASSERT_TRUE(looked.has_value()) << looked.error().text();
  EXPECT_EQ(looked->same, 6u) << "made again";
}

TEST_F(Damaged, ADocumentIsCountedAndTheOthersTold) {
  damage(document_, "document");
  std::string told;
  const auto corrected = corrections(*store_, "p", {}, [&told](const Correction& one) {
    told += one.record.session.substr(0, 4) + "/" + std::to_string(one.record.revision) + " ";
  });
  ASSERT_TRUE(corrected.has_value()) << corrected.error().text();
  EXPECT_EQ(told,
            session_id_of("a").substr(0, 4) + "/2 " + session_id_of("c").substr(0, 4) + "/2 ");
  EXPECT_EQ(corrected->size(), 1u);
  const auto delayed = delays(*store_, {});
  ASSERT_TRUE(delayed.has_value()) << delayed.error().text();
  EXPECT_EQ(delayed->rows.front().landed.count(), 2u);
  EXPECT_EQ(delayed->unreadable, 1u);
  const auto report = verify(*store_, core_, {}, 2, {});
  ASSERT_TRUE(report.has_value()) << report.error().text();
  EXPECT_EQ(report->same, 4u);
  EXPECT_EQ(report->faults.size(), 2u) << "of both revisions";
  Look look;
  look.limit = 100;
  const auto looked = look_back(*store_, core_, core_, look);
  ASSERT_TRUE(looked.has_value()) << looked.error().text();
  EXPECT_EQ(looked->same, 4u);
}

TEST_F(Damaged, AnActIsToldWithoutTheReasonThatCannotBeRead) {
  damage(document_ + 3, "document");  // of the second revision
  std::vector<std::string> why;
  const auto acts = activity(*store_, {"t", ""}, {},
                             [&why](const Record&, const std::string& one) { why.push_back(one); });
  ASSERT_TRUE(acts.has_value()) << acts.error().text();
  EXPECT_EQ(why, (std::vector<std::string>{
                     "", "Misread", "", "(its bytes are not what its head says)", "", "Misread"}));
}

}  // namespace
}  // namespace engine::replay

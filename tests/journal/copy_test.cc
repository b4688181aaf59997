// A journal copied into another store, and back.

#include "engine/journal/copy.h"

#include <string>
#include <vector>

#include "engine/journal/merkle.h"
#include "engine/journal/open_store.h"
#include "tests/journal/growing_store.h"
#include "tests/journal/store_conformance.h"

namespace engine::journal {
namespace {

class Copy : public StoreConformance {
 protected:
  // `sessions` that go half of the way, each with a body.
  void fill(Store& store, int first, int sessions) {
    std::vector<Change> batch;
    for (int i = first; i < first + sessions; ++i) {
      const std::string session = "s" + std::to_string(i);
      Change accepted(record_of(Kind::kAccepted, session, 1));
      accepted.parts.push_back(to_stored(Part("document", std::string(50, 'x') + session)));
      accepted.parts.push_back(to_stored(Part("outcome", session)));
      batch.push_back(std::move(accepted));
      batch.emplace_back(record_of(Kind::kChecked, session, 1));
    }
    ASSERT_TRUE(store.commit(batch, clock_).has_value());
  }
  base::Result<CopyReport> copy(const Store& from, Store& to) {
    return copy_journal(from, to, ended_, [](Position) {});
  }
  bool ended_ = true;
  TemporaryFolder folder_;
};

// A store in which something goes wrong behind the records.
class WithoutKeys final : public GrowingStore {
 public:
  explicit WithoutKeys(Store& store) : GrowingStore(store, nullptr) {}
  base::Result<void> restore_keys(const std::vector<WrappedKey>&, std::string_view) override {
    return base::Error(base::ErrorCode::kIo, "the disk is full");
  }
};

TEST_P(Copy, HasTheSameTreeAndStatesThereAndBackAndGoesOnWhereItStopped) {
  fill(*store_, 0, 300);
  auto file = open_store({folder_.file("copy"), OpenMode::kCopy});
  ASSERT_TRUE(file.has_value()) << file.error().text();
  const auto first = copy(*store_, **file);
  ASSERT_TRUE(first.has_value()) << first.error().text();
  EXPECT_EQ(first->copied, 600u);
  fill(*store_, 300, 5);
  const auto second = copy(*store_, **file);
  ASSERT_TRUE(second.has_value()) << second.error().text();
  EXPECT_EQ(second->there, 600u);
  EXPECT_EQ(second->copied, 10u);
  const auto one = verify(*store_);
  const auto other = verify(**file);
  EXPECT_EQ(one->root, second->root);
  EXPECT_EQ(other->root, second->root);
  EXPECT_EQ(other->faults, std::vector<std::string>());
  EXPECT_EQ(*(*file)->check_fold(5), std::vector<std::string>());
  EXPECT_EQ(due_text(**file), due_text(*store_));

  const auto back = GetParam().make();
  auto again = back->open();
  ASSERT_TRUE(again.has_value()) << again.error().text();
  const auto third = copy(**file, **again);
  ASSERT_TRUE(third.has_value()) << third.error().text();
  EXPECT_EQ(third->root, second->root);
  EXPECT_EQ(*(*again)->check_fold(5), std::vector<std::string>());
  again->reset();
}

// Without its keys and its end it looks like a journal of its own.
TEST_P(Copy, NobodyWritesIntoOneThatIsNotWhole) {
  fill(*store_, 0, 3);
  const auto house = GetParam().make();
  auto target = house->open(OpenMode::kCopy, nullptr);
  ASSERT_TRUE(target.has_value()) << target.error().text();
  const auto expect_shut = [&] {
    target->reset();
    for (const OpenMode mode : {OpenMode::kEngine, OpenMode::kCommand}) {
      const auto refused = house->open(mode, nullptr);
      ASSERT_FALSE(refused.has_value());
      EXPECT_EQ(refused.error().code, base::ErrorCode::kConflict);
      EXPECT_NE(refused.error().text().find("journal copy"), std::string::npos);
    }
    auto read = house->open(OpenMode::kRead, nullptr);
    ASSERT_TRUE(read.has_value()) << read.error().text();
    EXPECT_EQ(verify(**read)->faults,
              std::vector<std::string>{"another journal was not copied into this one to its end"});
    read->reset();
    target = house->open(OpenMode::kCopy, nullptr);
    ASSERT_TRUE(target.has_value()) << target.error().text();
  };
  WithoutKeys broken(**target);
  EXPECT_EQ(copy(*store_, broken).error().code, base::ErrorCode::kIo);
  expect_shut();
  ended_ = false;
  auto report = copy(*store_, **target);
  EXPECT_TRUE(report.has_value() && !report->whole && report->copied == 0);
  expect_shut();
  ended_ = true;
  report = copy(*store_, **target);
  EXPECT_TRUE(report.has_value() && report->whole);
  target->reset();
  auto engine = house->open();
  ASSERT_TRUE(engine.has_value()) << engine.error().text();
  EXPECT_EQ(verify(**engine)->faults, std::vector<std::string>());
  engine->reset();
}

TEST_P(Copy, RefusesAJournalThatIsNoBeginningOfTheOther) {
  auto file = open_store({folder_.file("other"), OpenMode::kCopy});
  ASSERT_TRUE(file.has_value());
  fill(**file, 10, 2);
  fill(*store_, 0, 3);
  EXPECT_EQ(copy(**file, *store_).error().code, base::ErrorCode::kConflict) << "longer";
  fill(**file, 20, 5);
  EXPECT_EQ(copy(**file, *store_).error().code, base::ErrorCode::kConflict) << "other records";
  EXPECT_EQ(*store_->size(), 6u);
}

TEST_P(Copy, RestoresNothingOfWhatDoesNotHashOrDoesNotFollow) {
  fill(*store_, 0, 2);
  auto target = GetParam().make();
  auto opened = target->open();
  ASSERT_TRUE(opened.has_value()) << opened.error().text();
  std::vector<CopiedRecord> records;
  ASSERT_TRUE(store_
                  ->scan(1,
                         [&](Position, std::string_view head, const base::Digest& leaf) {
                           records.push_back({std::string(head), leaf, {}});
                           return true;
                         })
                  .has_value());
  ASSERT_TRUE(store_
                  ->scan_parts(1,
                               [&](const PartRow& row) {
                                 records[row.position - 1].parts.push_back(row.part);
                                 return true;
                               })
                  .has_value());
  auto altered = records;
  altered[2].parts[1].bytes += "!";
  EXPECT_EQ((*opened)->restore(altered).error().code, base::ErrorCode::kCorrupt);
  altered = records;
  altered[1].head.replace(altered[1].head.find("checked"), 7, "landed");
  EXPECT_EQ((*opened)->restore(altered).error().code, base::ErrorCode::kCorrupt);
  altered = records;
  altered[2].parts.pop_back();
  EXPECT_EQ((*opened)->restore(altered).error().code, base::ErrorCode::kCorrupt);
  altered = records;
  altered.erase(altered.begin() + 1);
  EXPECT_EQ((*opened)->restore(altered).error().code, base::ErrorCode::kConflict);
  EXPECT_EQ(*(*opened)->size(), 0u);
  ASSERT_TRUE((*opened)->restore(records).has_value());
  EXPECT_EQ((*opened)->restore(records).error().code, base::ErrorCode::kConflict) << "twice";
  EXPECT_EQ(legs_text(**opened, {"s0", "s1"}), "s0/1 checked, s1/1 checked");
  opened->reset();
}

INSTANTIATE_TEST_SUITE_P(Stores, Copy, ::testing::ValuesIn(all_houses()),
                         [](const auto& row) { return std::string(row.param.name); });

}  // namespace
}  // namespace engine::journal

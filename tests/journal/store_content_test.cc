// What every journal::Store does, whatever it is kept in: bytes in, the same bytes out.

#include <string>
#include <vector>

#include "tests/journal/growing_store.h"
#include "tests/journal/store_conformance.h"

namespace engine::journal {
namespace {

class StoreContent : public StoreConformance {};

TEST_P(StoreContent, KeepsEveryByteAndFindsNothingByWhatNoSessionIsCalled) {
  std::string bytes;
  for (int i = 0; i < 3'000'000; ++i) {
    bytes.push_back(static_cast<char>(i * 31 + i / 256));
  }
  Change change(record_of(Kind::kAccepted,
                          "s\xC3\xA9"
                          "ance",
                          1));
  change.record.actor = "not UTF-8: \xFF";
  StoredPart part;
  part.name = "document";
  part.bytes = bytes;
  part.hash = base::sha256(bytes);
  change.parts.push_back(part);
  write(std::move(change));
  EXPECT_EQ(*store_->part(1, "document"), bytes);
  EXPECT_EQ(parse_head(*store_->head_text(1))->record.actor, "not UTF-8: \xFF");
  const std::string zero("s\0x", 3);
  for (const std::string& session : {std::string("\xFF\xFE"), zero, std::string("'; --"),
                                     std::string("$1"), std::string(100'000, 'x')}) {
    EXPECT_TRUE(store_->legs(session)->empty());
    EXPECT_TRUE(store_->acceptances(session)->empty());
    Query query;
    query.session = session;
    EXPECT_TRUE(store_->search(query)->empty());
  }
  EXPECT_EQ(store_
                ->legs("s\xC3\xA9"
                       "ance")
                ->size(),
            1u);
  Record split = record_of(Kind::kAccepted, zero, 1);
  EXPECT_FALSE(journal::write(*store_, clock_, Change(split)).has_value());
  expect_sound();
}

TEST_P(StoreContent, ReadsALongLogInPagesFromAnywhereAndStopsWhenTold) {
  std::vector<Change> batch;
  for (int i = 0; i < 1'200; ++i) {
    Change change(record_of(Kind::kAccepted, "s" + std::to_string(i), 1));
    change.parts.push_back(to_stored(Part("document", "d" + std::to_string(i))));
    change.parts.push_back(to_stored(Part("outcome", "o" + std::to_string(i))));
    batch.push_back(std::move(change));
  }
  ASSERT_TRUE(store_->commit(batch, clock_).has_value());
  Position last = 700;
  const auto scanned =
      store_->scan(701, [&](Position position, std::string_view, const base::Digest&) {
        EXPECT_EQ(position, last + 1);
        last = position;
        return position < 1'150;
      });
  ASSERT_TRUE(scanned.has_value());
  EXPECT_EQ(last, 1'150u);
  std::size_t parts = 0;
  ASSERT_TRUE(store_
                  ->scan_parts(1'001,
                               [&](const PartRow& row) {
                                 EXPECT_EQ(row.position, 1'001 + parts / 2);
                                 EXPECT_EQ(row.part.name, parts % 2 == 0 ? "document" : "outcome");
                                 ++parts;
                                 return true;
                               })
                  .has_value());
  EXPECT_EQ(parts, 400u);
  Query query;
  query.limit = 5'000;
  EXPECT_EQ(store_->search(query)->size(), 1'200u);
  query.newest_first = true;
  query.after = 600;
  query.limit = 550;
  const auto found = store_->search(query);
  ASSERT_EQ(found->size(), 550u);
  EXPECT_EQ(found->front().position, 599u);
  EXPECT_EQ(found->back().position, 50u);
  expect_sound();
}

// An engine goes on while somebody verifies.
TEST_P(StoreContent, IsSoundWhileItGrows) {
  const auto accept = [this](const std::string& session) {
    Change change(record_of(Kind::kAccepted, session, 1));
    change.parts.push_back(to_stored(Part("document", "body of " + session)));
    write(std::move(change));
  };
  accept("a");
  accept("b");
  const GrowingStore growing(*store_, [&] {
    for (int i = 0; i < 40; ++i) {  // more than one page of parts
      accept("c" + std::to_string(i));
    }
  });
  const auto during = verify(growing);
  ASSERT_TRUE(during.has_value()) << during.error().text();
  EXPECT_EQ(during->faults, std::vector<std::string>());
  EXPECT_EQ(during->records, 2u);
  EXPECT_EQ(during->parts, 2u) << "what came later is not counted";
  const auto after = verify(*store_);
  EXPECT_EQ(after->parts, 42u);
  EXPECT_EQ(after->faults, std::vector<std::string>());
}

INSTANTIATE_TEST_SUITE_P(Stores, StoreContent, ::testing::ValuesIn(all_houses()),
                         [](const auto& row) { return std::string(row.param.name); });

}  // namespace
}  // namespace engine::journal

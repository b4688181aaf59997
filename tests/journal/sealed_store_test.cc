// Bodies sealed at rest, whatever they are kept in.

#include "tests/journal/sealed_store.h"

#include <fstream>
#include <future>
#include <iterator>
#include <mutex>

#include "engine/journal/copy.h"
#include "engine/journal/failure.h"
#include "engine/journal/journal.h"
#include "engine/journal/merkle.h"
#include "engine/journal/open_store.h"
#include "engine/journal/search_key.h"
#include "engine/journal/start_marks.h"

namespace engine::journal {
namespace {

constexpr const char* kMarker = "a marker that stands in no other place";

TEST_P(SealedStore, KeepsNothingReadableAndGivesBackWhatItWasGiven) {
  const std::string body = std::string(kMarker) + std::string(100, 'x');
  const Position first = accept("a", body);
  const Position second = accept("b", kMarker);
  const Position third = accept("ab", kMarker);
  for (const PartRow& row : stored()) {
    EXPECT_TRUE(is_sealed(row.part.codec));
    EXPECT_EQ(row.part.bytes.find("marker"), std::string::npos);
  }
  EXPECT_EQ(*store_->part(first, "document"), body);
  EXPECT_EQ(*store_->part(second, "document"), kMarker);
  EXPECT_EQ(*store_->part(third, "document"), kMarker);
  EXPECT_EQ(store_->part(first, "bundle").error().code, base::ErrorCode::kNotFound);
  EXPECT_EQ(store_->body_keys()->size(), 2u) << "one key for each patient";
  expect_sound();
  open_with("m");
  EXPECT_EQ(*store_->part(first, "document"), body);
}

TEST_P(SealedStore, SealsBodiesOfNobodyKnownByTheMonth) {
  for (const int seconds : {1'800'000'000, 1'800'000'060, 1'803'000'000}) {
    clock_.set(std::chrono::seconds(seconds));
    Change refused(record_of(Kind::kRefused, "", 0, ""));
    refused.parts.push_back(to_stored(Part("document", "no session")));
    write(std::move(refused));
  }
  std::vector<std::string> subjects;
  const auto keys = store_->body_keys();
  for (const WrappedKey& key : *keys) {
    subjects.push_back(key.subject);
  }
  std::sort(subjects.begin(), subjects.end());
  EXPECT_EQ(subjects, (std::vector<std::string>{"month 2027-01", "month 2027-02"}));
  EXPECT_EQ(*store_->part(3, "document"), "no session");
  expect_sound();
}

TEST_P(SealedStore, ReadsWhatWasWrittenBeforeItSealed) {
  auto plain = GetParam().make();
  house_.swap(plain);
  store_.reset();
  open();
  const Position before = accept("a", "in the clear");
  EXPECT_EQ(*store_->master(), "");
  open_with("m");
  const Position after = accept("a", "sealed", 2);
  EXPECT_FALSE(is_sealed(stored()[0].part.codec));
  EXPECT_TRUE(is_sealed(stored()[1].part.codec));
  EXPECT_EQ(*store_->part(before, "document"), "in the clear");
  EXPECT_EQ(*store_->part(after, "document"), "sealed");
  expect_sound();
  store_.reset();
}

TEST_P(SealedStore, IsNotOpenedByAnEngineWithoutItsMasterKey) {
  accept("a", "body");
  const Position size = *store_->size();
  for (const char* masters : {"", "n", "xyz"}) {
    const auto refused = try_open(masters);
    ASSERT_FALSE(refused.has_value()) << masters;
    EXPECT_EQ(refused.error().code, base::ErrorCode::kConflict);
    EXPECT_NE(refused.error().detail.find(master_id(std::string(32, 'm'))), std::string::npos)
        << refused.error().text();
  }
  EXPECT_FALSE(try_open("n", OpenMode::kCommand).has_value());
  EXPECT_FALSE(try_open("n", OpenMode::kRead).has_value());
  open_with("nm");
  EXPECT_EQ(*store_->size(), size) << "nothing was written";
  EXPECT_EQ(*store_->part(1, "document"), "body");
}

TEST_P(SealedStore, TakesNoBodiesFromACommandWithoutTheMasterKey) {
  accept("a", "body");
  open_with("", OpenMode::kCommand);
  Change with_body(record_of(Kind::kAccepted, "b", 1));
  with_body.parts.push_back(to_stored(Part("document", "would lie in the clear")));
  const auto refused = journal::write(*store_, clock_, std::move(with_body));
  ASSERT_FALSE(refused.has_value());
  EXPECT_EQ(refused.error().code, base::ErrorCode::kUnsupported);
  EXPECT_EQ(*store_->size(), 1u);
  write(Kind::kRead, "a", 0);  // a record without a body is fine
  open_with("m", OpenMode::kCommand);
  accept("b", "body");
  EXPECT_TRUE(is_sealed(stored()[1].part.codec));
  expect_sound();
}

TEST_P(SealedStore, IsProvedAndReportedOnWithoutTheMasterKeyButNotRead) {
  accept("a", "body");
  accept("b", "body");
  open_with("", OpenMode::kRead);
  EXPECT_EQ(store_->part(1, "document").error().code, base::ErrorCode::kUnsupported);
  const auto report = verify(*store_);
  EXPECT_EQ(report->faults, std::vector<std::string>());
  EXPECT_EQ(report->unopened, 2u);
  EXPECT_EQ(report->destroyed, 0u);
  EXPECT_EQ(store_->search(Query())->size(), 2u);
}

TEST_P(SealedStore, ChangesTheMasterKeyInStepsAndReadsAllMeanwhile) {
  for (const char* session : {"a", "b", "c", "d", "e"}) {
    accept(session, std::string("body of ") + session);
  }
  open_with("mn");
  const std::string next = master_id(std::string(32, 'n'));
  EXPECT_EQ(*store_->rewrap(next, 2), 2u);
  EXPECT_EQ(*store_->master(), next);
  // Half done: both are needed, and new keys are wrapped under the new one.
  const auto without = try_open("n");
  ASSERT_FALSE(without.has_value());
  EXPECT_NE(without.error().detail.find(master_id(std::string(32, 'm'))), std::string::npos);
  EXPECT_FALSE(try_open("m").has_value());
  open_with("nm");
  accept("f", "body of f");
  for (Position position = 1; position <= 6; ++position) {
    EXPECT_EQ(error_of(position), "readable") << position;
  }
  expect_sound();
  EXPECT_EQ(*store_->rewrap(next, 100), 3u);
  EXPECT_EQ(*store_->rewrap(next, 100), 0u) << "twice is as good as once";
  open_with("n");
  EXPECT_EQ(*store_->part(1, "document"), "body of a");
  EXPECT_EQ(*store_->part(6, "document"), "body of f");
  expect_sound();
  EXPECT_FALSE(try_open("m").has_value()) << "the old one opens nothing any more";
  open_with("n");
}

// Another program put a master key in force that this one was not given.
TEST_P(SealedStore, TellsAKeyThatItWasNotGivenFromDamage) {
  const Position first = accept("a", "body of a");
  auto keys = *store_->body_keys();
  const std::string own = *store_->master();
  keys.front().master = master_id(std::string(32, 'n'));
  ASSERT_TRUE(store_->restore_keys(keys, keys.front().master).has_value());
  const auto body = store_->part(first, "document");
  ASSERT_FALSE(body.has_value());
  EXPECT_TRUE(is_for_want_of_a_key(*store_, body.error())) << body.error().text();
  EXPECT_FALSE(is_for_want_of_a_key(*store_, store_->part(99, "document").error()));
  // A row that names a key which is not in force: giving one does not help.
  ASSERT_TRUE(store_->restore_keys({}, own).has_value());
  EXPECT_FALSE(is_for_want_of_a_key(*store_, store_->part(first, "document").error()));
}

TEST_P(SealedStore, IsCopiedWithItsKeys) {
  accept("a", "body of a");
  accept("b", "body of b");
  const TemporaryFolder folder;
  {
    auto to = open_store({folder.file("copy"), OpenMode::kCopy});
    ASSERT_TRUE(to.has_value()) << to.error().text();
    const auto report = copy_journal(*store_, **to, true, [](Position) {});
    ASSERT_TRUE(report.has_value()) << report.error().text();
    EXPECT_EQ((*to)->part(1, "document").error().code, base::ErrorCode::kUnsupported);
  }
  EXPECT_FALSE(open_store({folder.file("copy"), OpenMode::kEngine}).has_value());
  auto copy = open_store({folder.file("copy"), OpenMode::kEngine, "", sealing_of("m")});
  ASSERT_TRUE(copy.has_value()) << copy.error().text();
  EXPECT_EQ(*(*copy)->part(2, "document"), "body of b");
  EXPECT_TRUE(verify(**copy)->sound());
}

Change with_document(const std::string& session, std::uint32_t revision = 1) {
  Change change(record_of(Kind::kAccepted, session, revision));
  change.parts.push_back(to_stored(Part("document", "body")));
  return change;
}

// One commit is for all that waits, and a patient's key can be damaged.
TEST_P(SealedStore, ADamagedKeyFailsTheChangesOfItsPatientOnly) {
  WrappedKey damaged;
  damaged.id = std::string(kKeyIdBytes, 'k');
  damaged.subject = "p-d";
  damaged.master = *store_->master();
  damaged.wrapped = std::string(60, 'w');
  ASSERT_TRUE(store_->restore_keys({damaged}, damaged.master).has_value());
  Journal journal(*store_, clock_);
  std::size_t failures = 0;
  std::size_t told = 0;
  std::size_t heard = 0;
  journal.on_failure([&](const base::Error*) { ++failures; });
  journal.on_damage([&](const base::Error& what) { told += is_damaged_key(what) ? 1U : 0U; });
  journal.add_listener([&](const std::vector<Outcome>& outcomes) { heard += outcomes.size(); });
  std::promise<void> go;
  std::shared_future<void> wait = go.get_future().share();
  journal.submit(with_document("first"), [wait](const auto&) { wait.wait(); });
  // They wait for the first, and then are one group.
  std::string answers;
  const auto tell = [&](const std::string& session, std::uint32_t revision = 1) {
    journal.submit(with_document(session, revision), [&answers, session](const auto& outcome) {
      answers += session + (outcome ? std::to_string(outcome->position) : "-") + " ";
    });
  };
  tell("a");
  tell("d");
  tell("b");
  std::vector<Change> pair;
  pair.push_back(with_document("e"));
  pair.push_back(with_document("d1"));
  pair.back().only_with_previous = true;
  journal.submit_together(std::move(pair),
                          [&](const auto& both) { answers += both ? "both " : "neither "; });
  tell("c");
  go.set_value();
  EXPECT_FALSE(journal.write(with_document("d")).has_value());
  EXPECT_FALSE(journal.failing());
  journal.stop();
  EXPECT_EQ(answers, "a2 d- b3 neither c4 ");
  EXPECT_EQ(failures, 0u);
  EXPECT_EQ(told, 4u);
  EXPECT_EQ(heard, 4u);
  EXPECT_EQ(*store_->size(), 4u);
}

std::string faults_of(const Store& store) {
  std::string out;
  const auto report = verify(store);
  for (const std::string& fault : report ? report->faults : std::vector<std::string>{"none"}) {
    out += fault + "\n";
  }
  return out;
}

TEST_P(SealedStore, ADataKeyThatDoesNotOpenIsAFaultBeforeAnythingIsSealedWithIt) {
  accept("a", "body");
  expect_sound();
  WrappedKey damaged;
  damaged.id = std::string(kKeyIdBytes, 'k');
  damaged.subject = "p-d";
  damaged.master = *store_->master();
  damaged.wrapped = std::string(60, 'w');
  ASSERT_TRUE(store_->restore_keys({damaged}, damaged.master).has_value());
  EXPECT_NE(faults_of(*store_).find("a key of the journal is not what was kept"),
            std::string::npos);
  open_with("", OpenMode::kRead);
  EXPECT_EQ(faults_of(*store_), "") << "nobody without the master key can tell";
  open_with("m");
  damaged.wrapped = "w";
  ASSERT_TRUE(store_->restore_keys({damaged}, damaged.master).has_value());
  open_with("", OpenMode::kRead);
  EXPECT_NE(faults_of(*store_).find("a key of the journal is not what was kept"),
            std::string::npos);
}

Change start_of(const std::string& master) {
  Record started;
  started.content = print(StartMarks{"mark", master});
  return Change(started);
}

TEST_P(SealedStore, AMasterKeyInForceThatNothingBearsOutIsAFault) {
  auto plain = GetParam().make();
  house_.swap(plain);
  store_.reset();
  open();
  ASSERT_TRUE(store_->agree(kSearchKeyMark, "mark").has_value());
  const std::string master = master_id(std::string(32, 'm'));
  ASSERT_TRUE(store_->restore_keys({}, "abcdabcdabcdabcd").has_value());
  EXPECT_EQ(faults_of(*store_), "") << "a journal from when starts did not say it";
  write(start_of(""));
  EXPECT_EQ(faults_of(*store_),
            "the table body_master says that bodies are sealed under the master key "
            "abcdabcdabcdabcd, and neither a record nor a data key does\n");
  ASSERT_TRUE(store_->restore_keys({}, master).has_value());
  Record rekeyed;
  rekeyed.kind = Kind::kRekeyed;
  rekeyed.reason = "master=" + master;
  write(Change(rekeyed));
  EXPECT_EQ(faults_of(*store_), "");
  write(start_of(master));
  EXPECT_EQ(faults_of(*store_), "");
  open_with("m");
  accept("a", "body");
  expect_sound();
  store_.reset();
}

TEST_P(SealedStore, AMasterKeyThatTheStartsNameAndTheTableDoesNotIsAFault) {
  auto plain = GetParam().make();
  house_.swap(plain);
  store_.reset();
  open();
  ASSERT_TRUE(store_->agree(kSearchKeyMark, "mark").has_value());
  write(start_of("abcdabcdabcdabcd"));
  EXPECT_EQ(faults_of(*store_),
            "bodies are sealed under the master key abcdabcdabcdabcd, and the table body_master "
            "does not say so\n");
  store_.reset();
  // Not without a key, under which all would be in clear from here on, and not as if it were new.
  EXPECT_EQ(house_->open().error().code, base::ErrorCode::kCorrupt);
  EXPECT_EQ(house_->open(OpenMode::kEngine, sealing_of("m")).error().code,
            base::ErrorCode::kCorrupt);
  EXPECT_TRUE(house_->open(OpenMode::kRead, nullptr).has_value());
}

TEST_P(SealedStore, TheKeyThatHidesThePatientsIsTheOneOfTheStarts) {
  write(start_of(*store_->master()));
  EXPECT_EQ(faults_of(*store_),
            "the table agreed does not say which key the patients are hidden with, and the starts "
            "do\n");
  const TemporaryFolder folder;
  const std::string file = folder.file("key");
  const std::string random(32, 'r');
  ASSERT_TRUE(SearchKey::load(file, random).has_value());
  EXPECT_EQ(load_search_key(*store_, file).error().code, base::ErrorCode::kConflict);
  EXPECT_EQ(open_search_key(*store_, file, random).error().code, base::ErrorCode::kConflict);
  ASSERT_TRUE(store_->agree(kSearchKeyMark, "another").has_value());
  EXPECT_EQ(faults_of(*store_),
            "the table agreed names another key that hides the patients than the starts do\n");
  Record started;
  started.content = print(StartMarks{"another", *store_->master()});
  write(Change(started));
  EXPECT_EQ(faults_of(*store_),
            "record 2: it names another key that hides the patients than the starts before it\n");
}

INSTANTIATE_TEST_SUITE_P(Stores, SealedStore, ::testing::ValuesIn(all_houses()),
                         [](const auto& row) { return std::string(row.param.name); });

}  // namespace
}  // namespace engine::journal

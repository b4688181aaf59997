// Who recorded what, and who stands for it, as docs/session-document.md says.

#include "engine/therapy/people.h"

#include <string>

#include <gtest/gtest.h>

#include "engine/json/document.h"

namespace engine::therapy {
namespace {

using json::Document;
using json::Node;

const json::NameTable& names() {
  static const json::NameTable table;
  return table;
}

std::string at(int minute) {
  return "2027-01-15T10:" + std::string(minute < 10 ? "0" : "") + std::to_string(minute) +
         ":00+01:00";
}

class PeopleTest : public ::testing::Test {
 protected:
  // Members of a session beside its therapist.
  void read(const std::string& more) {
    ASSERT_TRUE(document_.parse(R"({"therapist":{"display":"T"},)" + more + "}").has_value());
    people_ = std::make_unique<People>(*document_.root());
  }
  std::string author(const std::string& entry) {
    Document one(names());
    EXPECT_TRUE(one.parse(entry).has_value()) << entry;
    const Node* author = people_->author_of(*one.root());
    return author != nullptr ? std::string(author->string_at("display")) : "nobody";
  }
  bool attested(const std::string& id) {
    Document one(names());
    EXPECT_TRUE(one.parse(R"({"id":")" + id + "\"}").has_value());
    return people_->has_attested(*one.root());
  }
  Document document_{names()};
  std::unique_ptr<People> people_;
};

TEST_F(PeopleTest, WhoeverHadTheSessionThenRecordedIt) {
  // Not in the order of their times; of two at one time, or before, the last one written counts.
  read(R"("handover":[{"time":")" + at(30) + R"(","to":{"display":"C"}},{"time":")" + at(10) +
       R"(","to":{"display":"A"}},{"time":")" + at(20) +
       R"(","to":{"display":"B"}},{"time":"no time","to":{"display":"X"}},{"time":")" + at(20) +
       R"(","to":{"display":"D"}}])");
  const std::pair<int, const char*> wanted[] = {{9, "T"},  {10, "A"}, {19, "A"}, {20, "D"},
                                                {29, "D"}, {30, "D"}, {59, "D"}};
  for (const auto& [minute, who] : wanted) {
    EXPECT_EQ(author(R"({"time":")" + at(minute) + "\"}"), who) << minute;
    EXPECT_EQ(author(R"({"period":{"start":")" + at(minute) + "\"}}"), who) << minute;
  }
  EXPECT_EQ(author("{}"), "T") << "nobody knows when";
  EXPECT_EQ(author(R"({"time":")" + at(59) + R"(","recordedBy":{"display":"S"}})"), "S");
}

TEST_F(PeopleTest, AnAttestationStandsForItsEntriesOrForAll) {
  read(R"("attestation":[{"entry":["a","b"]},{"entry":[]}])");
  EXPECT_TRUE(attested("a") && attested("b"));
  EXPECT_FALSE(attested("c"));
  read(R"("attestation":[{"entry":["a"]},{"by":{}}])");
  EXPECT_TRUE(attested("c"));
  read(R"("entry":[])");
  EXPECT_FALSE(attested("a"));
}

// With every entry compared with every handover and attested id this would take minutes.
TEST_F(PeopleTest, ManyOfEachCostNoMoreThanTheirLength) {
  std::string handovers;
  std::string ids;
  constexpr int kMany = 50'000;
  for (int i = 0; i < kMany; ++i) {
    handovers += (i > 0 ? "," : "") + (R"({"time":")" + at(i % 60)) + R"(","to":{"display":"A"}})";
    ids += i > 0 ? ",\"a\"" : "\"a\"";
  }
  read(R"("handover":[)" + handovers + R"(],"attestation":[{"entry":[)" + ids + "]}]");
  Document entry(names());
  ASSERT_TRUE(entry.parse(R"({"id":"b","time":")" + at(59) + "\"}").has_value());
  int found = 0;
  for (int i = 0; i < kMany; ++i) {
    found += people_->author_of(*entry.root()) != nullptr && !people_->has_attested(*entry.root())
                 ? 1
                 : 0;
  }
  EXPECT_EQ(found, kMany);
}

}  // namespace
}  // namespace engine::therapy

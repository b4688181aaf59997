// Who recorded what, and who stands for it, as docs/session-document.md says.

#include "engine/therapy/people.h"

#include <memory>
#include <string>

#include <gtest/gtest.h>

#include "engine/json/document.h"
#include "engine/therapy/attested.h"

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

// Revisions of a session, each with its attestations and what it says of the entry "a", whose
// recorder is S; the last one is asked.
struct AttestedRow {
  const char* name;
  std::vector<const char*> attestations;
  AttestationHistory::Since content;
  bool covered;
  std::size_t anew;
};

TEST(Attested, StandsForWhatItsEntriesSaidThen) {
  const AttestedRow table[] = {
      {"of the entry", {R"([{"by":{"display":"T"},"entry":["b","a"]}])"}, {0, ""}, true, 1},
      {"of another", {R"([{"by":{"display":"T"},"entry":["b"]}])"}, {0, ""}, false, 1},
      {"of none", {R"([{"by":{"display":"T"},"entry":[]}])"}, {0, ""}, false, 0},
      {"of all", {R"([{"by":{"display":"T"}}])"}, {0, ""}, true, 1},
      {"there is none", {"[]"}, {0, ""}, false, 0},
      {"of whoever recorded it", {R"([{"by":{"display":"S"}}])"}, {0, ""}, false, 1},
      {"of them and somebody else",
       {R"([{"by":{"display":"S"}},{"by":{"display":"T"}},{"by":{"display":"S"},"time":"2"}])"},
       {0, ""},
       true,
       3},
      {"carried on",
       {R"([{"by":{"display":"T"},"entry":["a"]}])", R"([{"by":{"display":"T"},"entry":["a"]}])"},
       {0, ""},
       true,
       0},
      {"before the change",
       {R"([{"by":{"display":"T"},"entry":["a"]}])", R"([{"by":{"display":"T"},"entry":["a"]}])"},
       {1, "S"},
       false,
       0},
      {"of all, before the entry",
       {R"([{"by":{"display":"T"}}])", R"([{"by":{"display":"T"}}])"},
       {1, ""},
       false,
       0},
      {"of whoever changed it",
       {R"([{"by":{"display":"T"}}])", R"([{"by":{"display":"T"}}])"},
       {1, "T"},
       true,
       0},
      {"again",
       {R"([{"by":{"display":"T"},"entry":["a"]}])",
        R"([{"by":{"display":"T"},"entry":["a"]},{"by":{"display":"T"},"time":"2","entry":["a"]}])"},
       {1, "S"},
       true,
       1},
      {"a list that grew",
       {R"([{"by":{"display":"T"},"entry":["b"]}])",
        R"([{"by":{"display":"T"},"entry":["b","a"]}])"},
       {1, "S"},
       true,
       1},
  };
  Document entry(names());
  ASSERT_TRUE(entry.parse(R"({"id":"a","by":{"display":"S"}})").has_value());
  for (const AttestedRow& row : table) {
    AttestationHistory history;
    std::vector<std::unique_ptr<Document>> said;
    for (const char* list : row.attestations) {
      said.push_back(std::make_unique<Document>(names()));
      ASSERT_TRUE(said.back()->parse(std::string(R"({"attestation":)") + list + "}")) << row.name;
      history.note(*said.back()->root(), said.size() - 1);
    }
    history.last = said.size() - 1;
    history.content["a"] = row.content;
    const Attested attested(*said.back()->root(), history);
    EXPECT_EQ(attested.covers(*entry.root(), entry.root()->find("by")), row.covered) << row.name;
    EXPECT_EQ(attested.anew().size(), row.anew) << row.name;
  }
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
  const AttestationHistory history;
  const Attested attested(*document_.root(), history);
  Document entry(names());
  ASSERT_TRUE(entry.parse(R"({"id":"b","time":")" + at(59) + "\"}").has_value());
  int found = 0;
  for (int i = 0; i < kMany; ++i) {
    const Node* const author = people_->author_of(*entry.root());
    found += author != nullptr && !attested.covers(*entry.root(), author) ? 1 : 0;
  }
  EXPECT_EQ(found, kMany);
}

}  // namespace
}  // namespace engine::therapy

// What the desk reads: search, one message, the log; and that looking is journalled.
#include <string>

#include <gtest/gtest.h>

#include "engine/json/document.h"
#include "tests/web/api_fixture.h"

namespace engine::web {
namespace {

class DeskTest : public ApiTest {
 protected:
  // The sessions of an answer to a search, as "id id", in its order.
  std::string found(const std::string& search) {
    const RawClient::Answer answer = ask("POST", "/traffic", search);
    EXPECT_EQ(answer.status, 200) << answer.body;
    json::Document document(names_);
    EXPECT_TRUE(document.parse(answer.body).has_value()) << answer.body;
    std::string out;
    for (const json::Node& one : *document.root()->find("messages")) {
      for (const char* id : {"a", "b", "c"}) {
        if (one.string_at("session") == session_id_of(id)) {
          out += (out.empty() ? "" : " ") + std::string(id) +
                 std::string(one.find("revision")->text());
        }
      }
    }
    return out;
  }
  void fill() {
    ask("POST", "/sessions", document_of("a", 1, "p", "unconfirmed-value"));
    ask("POST", "/sessions", document_of("b", 1, "q"));
    ask("POST", "/sessions", document_of("c", 1, "p"));
    ask("POST", "/sessions", document_of("c", 2, "p"));
    wait_for("/sessions/" + session_id_of("a"), R"("state":"held")");
    wait_for("/sessions/" + session_id_of("b"), R"("state":"checked")");
    wait_for("/sessions/" + session_id_of("c"), R"("revision":2)");
  }
  json::NameTable names_;
};

TEST_F(DeskTest, SearchesByEveryConditionAndByAllOfThem) {
  fill();
  EXPECT_EQ(found("{}"), "c2 c1 b1 a1");
  EXPECT_EQ(found(R"({"state":"held"})"), "a1");
  EXPECT_EQ(found(R"({"state":"landed"})"), "");
  EXPECT_EQ(found(R"({"session":")" + session_id_of("c") + R"("})"), "c2 c1");
  EXPECT_EQ(found(R"({"patient":{"system":"urn:patients","value":"p"}})"), "c2 c1 a1");
  EXPECT_EQ(found(R"({"patient":{"system":"urn:patients","value":"q"},"state":"held"})"), "");
  EXPECT_EQ(found(R"({"therapist":{"system":"urn:staff","value":"t"}})"), "c2 c1 b1 a1");
  EXPECT_EQ(found(R"({"therapist":{"system":"urn:staff","value":"u"}})"), "");
  EXPECT_EQ(found(R"({"target":"other"})"), "");
  EXPECT_EQ(found(R"({"until":"2027-01-15T08:00:00.000Z"})"), "");
  EXPECT_EQ(found(R"({"since":"2027-01-15T08:00:00.000Z"})"), "c2 c1 b1 a1");
  // To the second, of what is held and of all.
  EXPECT_EQ(found(R"({"since":"2027-01-15T08:00:00Z"})"), "c2 c1 b1 a1");
  EXPECT_EQ(found(R"({"state":"held","since":"2027-01-15T08:00:00Z"})"), "a1");
  EXPECT_EQ(found(R"({"state":"held","until":"2027-01-15T08:00:00Z"})"), "");
}

TEST_F(DeskTest, TakesATimeWithAnyOffset) {
  fill();
  EXPECT_EQ(found(R"({"since":"2027-01-15T09:00:00+01:00"})"), "c2 c1 b1 a1");
  EXPECT_EQ(found(R"({"since":"2027-01-15T09:00:01+01:00"})"), "");
  EXPECT_EQ(found(R"({"until":"2027-01-15T03:00:01-05:00"})"), "c2 c1 b1 a1");
  EXPECT_EQ(found(R"({"state":"held","until":"2027-01-15T03:00:01-05:00"})"), "a1");
  EXPECT_EQ(ask("POST", "/log/replay", R"({"since":"2027-01-15T01:00:00+01:00"})").body,
            R"({"translations":0,"range":"2027-01-15T00:00:00.000Z/"})");
}

// Taken for absent, a condition of another form would find what nobody asked for.
TEST_F(DeskTest, RefusesAConditionOfAnotherForm) {
  for (const char* bad : {R"({"since":"yesterday"})",
                          R"({"since":"2027-01-15"})",
                          R"({"since":5})",
                          R"({"since":""})",
                          R"({"until":"01.12.2026"})",
                          R"({"until":["2027-01-15T08:00:00Z"]})",
                          R"({"before":"x"})",
                          R"({"before":-1})",
                          R"({"before":0})",
                          R"({"before":null})",
                          R"({"patient":"urn:patients|p"})",
                          R"({"patient":{"value":"p"}})",
                          R"({"patient":{"system":"urn:patients"}})",
                          R"({"patient":{}})",
                          R"({"patient":{"identifier":{"system":"urn:patients","value":"p"}}})",
                          R"({"Patient":{"system":"urn:patients","value":"p"}})",
                          R"({"therapist":{"value":"t"}})",
                          R"({"session":5})",
                          R"({"target":["main"]})",
                          R"({"state":["held"]})",
                          R"({"kind":null})"}) {
    for (const char* path : {"/log", "/traffic", "/log/replay"}) {
      EXPECT_EQ(ask("POST", path, bad).status, 400) << path << bad;
    }
  }
  EXPECT_EQ(ask("POST", "/log/proof", R"({"position":"1"})").status, 400);
  EXPECT_TRUE(reads_noted().empty());
}

// What is searched for is noted, and a note is one line.
TEST_F(DeskTest, RefusesASearchThatNobodyCouldNote) {
  for (const std::string& bad :
       {std::string(R"({"session":"x\ny"})"), std::string(R"({"session":"../a"})"),
        R"({"session":")" + session_id_of("c") + R"(0"})", std::string(R"({"target":"a\u0000"})"),
        R"({"since":")" + std::string(10'000, '2') + R"("})"}) {
    for (const char* path : {"/log", "/traffic", "/log/replay"}) {
      EXPECT_EQ(ask("POST", path, bad).status, 400) << path << bad.substr(0, 40);
    }
  }
  EXPECT_TRUE(reads_noted().empty());
  EXPECT_EQ(ask("POST", "/log", R"({"session":")" + session_id_of("c") + R"("})").status, 200);
}

TEST_F(DeskTest, GoesOnBeforeAPosition) {
  fill();
  const std::string all = ask("POST", "/traffic", "{}").body;
  json::Document document(names_);
  ASSERT_TRUE(document.parse(all).has_value());
  const json::Node* second = document.root()->find("messages")->first->next;
  const std::string position(second->find("position")->text());
  EXPECT_EQ(found(R"({"before":)" + position + "}"), "b1 a1");
  EXPECT_EQ(found(R"({"state":"held","before":1})"), "");
}

TEST_F(DeskTest, ASearchByPatientIsNotedAndNeverNamesThePatient) {
  fill();
  found("{}");
  EXPECT_TRUE(reads_noted().empty());
  found(R"({"patient":{"system":"urn:patients","value":"p"}})");
  const auto reads = reads_noted();
  ASSERT_EQ(reads.size(), 1U);
  EXPECT_EQ(reads[0].patient, key_.hide("urn:patients|p"));
}

TEST_F(DeskTest, SaysWhatASearchMayHold) {
  EXPECT_EQ(ask("POST", "/traffic", "[]").status, 400);
  const RawClient::Answer state = ask("POST", "/traffic", R"({"state":"lost"})");
  EXPECT_EQ(state.status, 400);
  EXPECT_NE(state.body.find("'state' is accepted, checked"), std::string::npos);
  EXPECT_EQ(ask("POST", "/log", R"({"kind":"lost"})").status, 400);
}

TEST_F(DeskTest, TellsAMessageWholeAndNotesWhoLooked) {
  fill();
  const RawClient::Answer answer = ask("GET", "/sessions/" + session_id_of("a") + "/revisions/1");
  ASSERT_EQ(answer.status, 200) << answer.body;
  json::Document document(names_);
  ASSERT_TRUE(document.parse(answer.body).has_value()) << answer.body;
  const json::Node& root = *document.root();
  EXPECT_EQ(root.find("document")->string_at("patient"), "p");
  const json::Node& target = *root.find("targets")->first;
  EXPECT_EQ(target.string_at("state"), "held");
  EXPECT_EQ(target.find("bundle")->string_at("resourceType"), "Bundle");
  EXPECT_NE(target.find("lineage"), nullptr);
  EXPECT_EQ(target.find("outcome")->string_at("resourceType"), "OperationOutcome");
  std::string kinds;
  for (const json::Node& one : *root.find("records")) {
    kinds += std::string(one.string_at("kind")) + " ";
  }
  EXPECT_EQ(kinds, "accepted held ");
  const auto reads = reads_noted();
  ASSERT_EQ(reads.size(), 1U);
  EXPECT_EQ(reads[0].session, session_id_of("a"));
  EXPECT_EQ(reads[0].revision, 1U);
}

TEST_F(DeskTest, SaysOfADestroyedMessageWhenAndByWhomAndWhatHappenedToIt) {
  fill();
  journal::Change shredded;
  shredded.record.kind = journal::Kind::kShredded;
  shredded.record.patient = key_.hide("urn:patients|p");
  shredded.record.actor = "Robin Sample";
  shredded.record.reason = "even-unsent";
  const auto outcome = journal_->write(std::move(shredded));
  ASSERT_EQ(outcome->verdict, journal::Outcome::Verdict::kWritten);
  const RawClient::Answer answer = ask("GET", "/sessions/" + session_id_of("a") + "/revisions/1");
  ASSERT_EQ(answer.status, 200) << answer.body;
  json::Document document(names_);
  ASSERT_TRUE(document.parse(answer.body).has_value()) << answer.body;
  const json::Node& root = *document.root();
  EXPECT_EQ(root.find("document"), nullptr);
  EXPECT_EQ(root.string_at("destroyed"), "it was destroyed on 2027-01-15 by Robin Sample; record " +
                                             std::to_string(outcome->position) + " says why");
  const json::Node& target = *root.find("targets")->first;
  EXPECT_EQ(target.string_at("state"), "held");
  EXPECT_EQ(target.find("bundle"), nullptr);
  EXPECT_EQ(root.find("records")->first->string_at("kind"), "accepted");
  EXPECT_EQ(ask("GET", "/sessions/" + session_id_of("a") + "/document").status, 404);
  EXPECT_EQ(ask("GET", "/sessions/" + session_id_of("b") + "/revisions/1").status, 200);
  const RawClient::Answer history =
      ask("POST", "/history", R"({"system":"urn:patients","value":"p"})");
  EXPECT_EQ(history.body, R"({"sessions":[],"more":false})");
}

TEST_F(DeskTest, KnowsNoMessageThatIsNotThere) {
  fill();
  const std::string session = "/sessions/" + session_id_of("a") + "/revisions/";
  for (const char* revision : {"2", "0", "x", "1x", "99999999999999999999"}) {
    EXPECT_EQ(ask("GET", session + revision).status, 404) << revision;
  }
  EXPECT_EQ(ask("GET", "/sessions/none/revisions/1").status, 404);
  EXPECT_TRUE(reads_noted().empty());
}

TEST_F(DeskTest, TheLogTellsWhoDidWhatAndWhy) {
  fill();
  ask("POST", "/sessions/" + session_id_of("a") + "/withdraw",
      R"({"actor":"Robin Sample","why":"typed twice"})");
  const RawClient::Answer answer = ask("POST", "/log", R"({"kind":"withdrawn"})");
  ASSERT_EQ(answer.status, 200);
  EXPECT_NE(answer.body.find(R"("actor":"Robin Sample","why":"typed twice")"), std::string::npos)
      << answer.body;
  EXPECT_EQ(answer.body.find("accepted"), std::string::npos);
  EXPECT_EQ(reads_noted().size(), 1U);
  // The reading before it is in the log too.
  EXPECT_NE(ask("POST", "/log", R"({"kind":"read"})").body.find(R"("why":"the log")"),
            std::string::npos);
}

TEST_F(DeskTest, ProvesARecordAndNotesWhoLooked) {
  EXPECT_EQ(ask("POST", "/log/proof", R"({"position":1})").body, R"({"position":1})");
  ASSERT_EQ(reads_noted().size(), 1U);
  EXPECT_EQ(reads_noted()[0].why, "proof of a record");
  // A journal that contradicts itself is not told as something that passes.
  const RawClient::Answer corrupt = ask("POST", "/log/proof", R"({"position":2})");
  EXPECT_EQ(corrupt.status, 500);
  EXPECT_NE(corrupt.body.find("does not lie in the tree"), std::string::npos);
  EXPECT_EQ(ask("POST", "/log/proof", R"({"position":3})").status, 404);
  EXPECT_EQ(ask("POST", "/log/proof", "[]").status, 400);
  EXPECT_EQ(reads_noted().size(), 1U);
}

TEST_F(DeskTest, HasTheJournalVerifiedAndReplayed) {
  EXPECT_EQ(ask("POST", "/log/verify", "{}").body, R"({"sound":true})");
  EXPECT_EQ(ask("POST", "/log/replay", R"({"since":"2027-01-15T00:00:00.000Z"})").body,
            R"({"translations":0,"range":"2027-01-15T00:00:00.000Z/"})");
}

TEST_F(DeskTest, AsksARecordServerWhatItCanDo) {
  EXPECT_EQ(ask("POST", "/targets/main/preflight", "{}").body, R"({"ready":true})");
  EXPECT_EQ(ask("POST", "/targets/other/preflight", "{}").status, 404);
}

}  // namespace
}  // namespace engine::web

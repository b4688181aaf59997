#include <algorithm>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/json/document.h"
#include "engine/web/page_files.h"
#include "engine/web/sheet_limits.h"
#include "engine/web/static_texts.h"
#include "tests/web/api_fixture.h"

namespace engine::web {
namespace {

TEST_F(ApiTest, TakesASessionInAndTellsWhereItIs) {
  const RawClient::Answer answer = ask("POST", "/sessions", document_of("a", 1, "p"));
  EXPECT_EQ(answer.status, 202);
  EXPECT_NE(answer.head.find("Location: /sessions/" + session_id_of("a")), std::string::npos);
  const std::string view = wait_for("/sessions/" + session_id_of("a"), R"("state":"checked")");
  EXPECT_EQ(view, R"({"session":")" + session_id_of("a") +
                      R"(","state":"checked","revisions":[{"revision":1,"received":)"
                      R"("2027-01-15T08:00:00.000Z","position":1,"targets":[{"target":"main",)"
                      R"("state":"checked","attempts":0}]}]})");
  EXPECT_EQ(ask("POST", "/sessions", document_of("a", 1, "p")).status, 200);
}

TEST_F(ApiTest, TellsWhyOneIsHeldAndNotesWhoLooked) {
  ask("POST", "/sessions", document_of("a", 1, "p", "unconfirmed-value"));
  const std::string path = "/sessions/" + session_id_of("a");
  const std::string view = wait_for(path, R"("state":"held","reason":"unconfirmed-value")");
  EXPECT_NE(view.find("nobody confirmed it"), std::string::npos) << view;
  EXPECT_EQ(view.find("held: unconfirmed"), std::string::npos)
      << "the outcome has a view of its own";
  EXPECT_NE(ask("GET", path + "/outcome").body.find("held: unconfirmed-value"), std::string::npos);
  const auto head = journal::parse_head(*store_->head_text(*store_->size()));
  EXPECT_EQ(head->record.kind, journal::Kind::kRead);
  EXPECT_EQ(head->record.actor, "address 127.0.0.1");
  EXPECT_EQ(ask("POST", path + "/release", R"({"why":"seen","actor":"T"})").status, 200);
  EXPECT_NE(wait_for(path, R"("state":"checked")").find(R"("state":"checked")"), std::string::npos);
  EXPECT_EQ(ask("GET", path + "/outcome").status, 404);
}

TEST_F(ApiTest, TellsWhatWasSaidOfOneThatGoesOn) {
  ask("POST", "/sessions", document_of("a", 1, "p", "ready", "an entry is missing"));
  ask("POST", "/sessions", document_of("b", 1, "p"));
  for (const char* id : {"a", "b"}) {
    wait_for("/sessions/" + session_id_of(id), R"("state":"checked")");
  }
  const RawClient::Answer said = ask("GET", "/sessions/" + session_id_of("a") + "/outcome");
  EXPECT_EQ(said.status, 200) << said.body;
  EXPECT_NE(said.body.find("an entry is missing now"), std::string::npos) << said.body;
  EXPECT_EQ(ask("GET", "/sessions/" + session_id_of("b") + "/outcome").status, 404);
}

// Taken for absent, it would stand for the only one that is held.
TEST_F(ApiTest, MovesNothingOnThatWasNotAskedFor) {
  ask("POST", "/sessions", document_of("a", 1, "p", "unconfirmed-value"));
  const std::string path = "/sessions/" + session_id_of("a");
  wait_for(path, R"("state":"held")");
  for (const char* which :
       {R"("revision":-1)", R"("revision":99999999999)", R"("revision":null)", R"("revision":[1])",
        R"("revision":{"a":1})", R"("revision":"1")", R"("revision":0)", R"("revision":1.0)",
        R"("revision":2,"revision":1)", R"("target":["main"])", R"("target":"")",
        R"("target":null)", R"("revison":2)"}) {
    for (const char* deed : {"/release", "/remap", "/withdraw"}) {
      const std::string body = R"({"why":"seen","actor":"T",)" + std::string(which) + "}";
      EXPECT_EQ(ask("POST", path + deed, body).status, 400) << deed << body;
    }
  }
  const std::string to = R"({"to":{"system":"urn:patients","value":"q"},"why":"seen","actor":"T",)";
  for (const char* more : {R"("as":5)", R"("role":["therapist"])", R"("encouter":{}})"}) {
    EXPECT_EQ(ask("POST", path + "/move", to + more + "}").status, 400) << more;
  }
  for (const char* what : {R"({"set":"b","target":["main"]})", R"({"set":5})"}) {
    EXPECT_EQ(ask("POST", "/mapping/approve", what).status, 400) << what;
  }
  EXPECT_NE(ask("GET", path).body.find(R"("state":"held")"), std::string::npos);
  EXPECT_EQ(ask("POST", path + "/release", R"({"why":"seen","actor":"T","revision":1})").status,
            200);
}

TEST_F(ApiTest, TakesLaterRevisionsAtTheSessionsAddress) {
  const std::string path = "/sessions/" + session_id_of("a") + "/revisions";
  EXPECT_EQ(ask("POST", path, document_of("a", 2, "p")).status, 404);
  EXPECT_EQ(ask("POST", "/sessions", document_of("a", 1, "p")).status, 202);
  EXPECT_EQ(ask("POST", path, document_of("a", 2, "p")).status, 202);
  EXPECT_EQ(ask("POST", path, document_of("b", 1, "p")).status, 422);
}

struct Row {
  const char* method;
  std::string path;
  std::string body;
  const char* type;
  int status;
};

TEST_F(ApiTest, RefusesWithAnOutcome) {
  const std::string nobody = "/sessions/" + session_id_of("nobody");
  const std::vector<Row> table = {
      {"GET", "/nothing", "", "", 404},
      {"GET", "/sessions", "", "", 405},
      {"DELETE", nobody, "", "", 405},
      {"GET", nobody, "", "", 404},
      {"GET", nobody + "/outcome", "", "", 404},
      {"GET", "/sessions/%2e%2e/outcome", "", "", 404},
      {"POST", "/sessions", "{}", "text/plain", 415},
      {"POST", "/sessions", "id=a", "application/x-www-form-urlencoded", 415},
      {"POST", "/sessions", "{", "application/json", 400},
      {"POST", "/sessions?dry-run", document_of("a", 1, "p", "impossible"), "application/json",
       422},
      {"GET", nobody + "/document", "", "", 404},
      {"GET", "/ward", "", "", 404},
      {"POST", "/history", "{", "application/json", 400},
      {"POST", "/history", R"({"system":"s"})", "application/json", 400},
      {"POST", "/history", R"({"value":7})", "application/json", 400},
      {"POST", nobody + "/release", R"({"why":"x","actor":"y"})", "application/json", 404},
      {"POST", nobody + "/release", "[]", "application/json", 400},
      {"POST", nobody + "/release", "{}", "application/json", 422},
      {"GET", "/targets/main/pause", "", "", 405},
      {"POST", "/targets/other/pause", R"({"why":"x","actor":"y"})", "application/json", 404},
      {"POST", "/targets/main/pause", "[]", "application/json", 400},
      {"POST", "/targets/main/pause", R"({"actor":"y"})", "application/json", 422},
      {"POST", "/targets/main/pause", R"({"why":"x\ny","actor":"y"})", "application/json", 422},
      {"POST", "/targets/main/resume", "actor=y", "application/x-www-form-urlencoded", 415},
  };
  for (const Row& row : table) {
    const RawClient::Answer answer = ask(row.method, row.path, row.body, row.type);
    EXPECT_EQ(answer.status, row.status) << row.method << " " << row.path;
    EXPECT_NE(answer.body.find("OperationOutcome"), std::string::npos) << row.path;
    EXPECT_NE(answer.head.find("X-Content-Type-Options: nosniff"), std::string::npos) << row.path;
  }
  EXPECT_EQ(ask("POST", "/sessions?dry-run", document_of("a", 1, "p")).status, 200);
}

// RFC 9110, 8.4 and 15.5.16.
TEST_F(ApiTest, TakesNoPackedBody) {
  const std::string body = document_of("a", 1, "p");
  const auto send = [&](const std::string& coding) {
    RawClient client(server_->port());
    client.send(
        "POST /sessions HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n"
        "Content-Encoding: " +
        coding + "\r\nContent-Length: " + std::to_string(body.size()) + "\r\n\r\n" + body);
    return client.read_answer();
  };
  for (const char* coding : {"gzip", "br, gzip", "Identity, gzip"}) {
    const RawClient::Answer answer = send(coding);
    EXPECT_EQ(answer.status, 415) << coding;
    EXPECT_NE(answer.head.find("Accept-Encoding: identity"), std::string::npos);
  }
  EXPECT_EQ(ask("GET", "/sessions/" + session_id_of("a")).status, 404) << "nothing was taken in";
  EXPECT_EQ(send("identity").status, 202);
}

TEST_F(ApiTest, BoundsABodyByItsRoute) {
  const auto most = [](const char* path) {
    Request head;
    head.method = "POST";
    head.target = path;
    return Api::body_max(head);
  };
  EXPECT_EQ(most("/sign-in"), base::limits::kSignInBodyBytesMax);
  EXPECT_EQ(most("/sheet/plan"), base::limits::kSheetBodyBytesMax);
  EXPECT_EQ(most("/sheet/records"), base::limits::kSheetBodyBytesMax);
  EXPECT_EQ(most("/sessions"), base::limits::kBodyBytesMax);
}

TEST_F(ApiTest, SaysThatItIsEnding) {
  EXPECT_EQ(ask("GET", "/health/ready").status, 200);
  stopping_ = true;
  EXPECT_EQ(ask("GET", "/health/ready").status, 503);
  EXPECT_EQ(ask("GET", "/health/live").status, 200);
  const RawClient::Answer answer = ask("POST", "/sessions", document_of("a", 1, "p"));
  EXPECT_EQ(answer.status, 503);
  EXPECT_NE(answer.head.find("Retry-After: 2"), std::string::npos);
}

TEST_F(ApiTest, IsNotReadyWhileTheJournalIsAltered) {
  metrics_.heads(true, false);
  EXPECT_EQ(ask("GET", "/health/ready").status, 503);
  EXPECT_NE(ask("GET", "/metrics").body.find("chartferry_journal_altered 1\n"), std::string::npos);
  metrics_.heads(false, true);
  EXPECT_EQ(ask("GET", "/health/ready").status, 200);
  EXPECT_NE(ask("GET", "/metrics").body.find("chartferry_heads_failing 1\n"), std::string::npos);
}

TEST_F(ApiTest, IsNotReadyWhileTheJournalDoesNotSayWhatIsToBeSent) {
  metrics_.looked(true, true);
  EXPECT_EQ(ask("GET", "/health/ready").status, 503);
  metrics_.looked(false, true);
  EXPECT_EQ(ask("GET", "/health/ready").status, 503) << "of another target";
  metrics_.looked(false, false);
  EXPECT_EQ(ask("GET", "/health/ready").status, 200);
  EXPECT_NE(ask("GET", "/metrics").body.find("chartferry_queue_unread_total 1\n"),
            std::string::npos);
}

TEST_F(ApiTest, ServesTheModelAndThePage) {
  EXPECT_EQ(ask("GET", "/schema/session").body, R"({"schema":true})");
  EXPECT_EQ(ask("GET", "/model/session").body, R"({"resourceType":"StructureDefinition"})");
  EXPECT_EQ(ask("GET", "/plausibility").body, "{}");
  const RawClient::Answer page = ask("GET", "/");
  EXPECT_EQ(page.status, 200);
  EXPECT_NE(page.head.find("script-src 'self'"), std::string::npos);
  EXPECT_EQ(page.head.find("unsafe-inline"), std::string::npos);
  for (const char* inlined : {"<style", "style=", "<script>", "onclick"}) {
    EXPECT_EQ(page.body.find(inlined), std::string::npos) << inlined;
  }
  for (const char* path :
       {"/page.js", "/page.css", "/worker.js", "/manifest.webmanifest", "/icon.svg"}) {
    EXPECT_EQ(ask("GET", path).status, 200) << path;
  }
  EXPECT_NE(ask("GET", "/metadata").body.find("CapabilityStatement"), std::string::npos);
}

TEST_F(ApiTest, PausesATargetAndTellsWhoAndWhy) {
  const std::string who = R"({"actor":"Robin Sample","why":"upgrade of the record server"})";
  EXPECT_NE(ask("GET", "/targets").body.find(R"([{"target":"main","state":"sending")"),
            std::string::npos);
  const RawClient::Answer paused = ask("POST", "/targets/main/pause", who);
  EXPECT_EQ(paused.status, 200);
  EXPECT_NE(paused.body.find(R"("kind":"paused","target":"main")"), std::string::npos);
  const std::string view = ask("GET", "/targets").body;
  EXPECT_NE(view.find(R"("state":"paused","pausedBy":{"actor":"Robin Sample","why":)"
                      R"("upgrade of the record server","since":"2027-01-15T08:00:00.000Z")"),
            std::string::npos)
      << view;
  EXPECT_EQ(ask("POST", "/targets/main/pause", who).status, 409);
  EXPECT_EQ(ask("POST", "/targets/main/resume", who).status, 200);
  EXPECT_EQ(ask("POST", "/targets/main/resume", who).status, 409);
  const auto head = journal::parse_head(*store_->head_text(*store_->size()));
  EXPECT_EQ(head->record.kind, journal::Kind::kResumed);
  EXPECT_EQ(head->record.actor, "Robin Sample");
}

TEST_F(ApiTest, SendsThePagePackedOnlyToWhoTakesIt) {
  const auto head_with = [this](const std::string& header) {
    RawClient client(server_->port());
    client.send("GET /page.js HTTP/1.1\r\nHost: x\r\n" + header + "\r\n");
    return client.read_answer().head;
  };
  const std::string packed = "Content-Encoding: gzip";
  EXPECT_NE(head_with("Accept-Encoding: br, gzip\r\n").find(packed), std::string::npos);
  EXPECT_EQ(head_with("Accept-Encoding: gzip;q=0\r\n").find(packed), std::string::npos);
  EXPECT_EQ(head_with("").find(packed), std::string::npos);
}

TEST_F(ApiTest, GivesTheWardListAndSaysWhyThereIsNone) {
  EXPECT_NE(ask("GET", "/ward").body.find("no ward list here"), std::string::npos);
  ward_ = base::Error(base::ErrorCode::kInvalid, "patient[0] has no patient", "ward.json:3:5");
  EXPECT_EQ(ask("GET", "/ward").status, 503);
  EXPECT_NE(ask("GET", "/ward").body.find("ward.json:3:5"), std::string::npos);
  ward_ = std::string(R"({"patient":[]})");
  EXPECT_EQ(ask("GET", "/ward").body, R"({"patient":[]})");
}

TEST_F(ApiTest, GivesTheLatestDocumentAndNotesWhoLooked) {
  ask("POST", "/sessions", document_of("a", 1, "p"));
  ask("POST", "/sessions", document_of("a", 2, "p"));
  const std::string path = "/sessions/" + session_id_of("a") + "/document";
  EXPECT_EQ(ask("GET", path).body, document_of("a", 2, "p"));
  const auto reads = reads_noted();
  ASSERT_EQ(reads.size(), 1U);
  EXPECT_EQ(reads[0].session, session_id_of("a"));
  EXPECT_EQ(reads[0].revision, 2U);
}

constexpr const char* kPatientP = R"({"system":"urn:patients","value":"p"})";

TEST_F(ApiTest, GivesEachSessionOfThePatientOnceAndNotesWhoLooked) {
  ask("POST", "/sessions", document_of("a", 1, "p"));
  ask("POST", "/sessions", document_of("b", 1, "q"));
  ask("POST", "/sessions", document_of("c", 1, "p"));
  ask("POST", "/sessions", document_of("a", 2, "p"));
  const std::string body = ask("POST", "/history", kPatientP).body;
  EXPECT_NE(body.find(R"("document":)" + document_of("a", 2, "p")), std::string::npos) << body;
  EXPECT_NE(body.find(R"("document":)" + document_of("c", 1, "p")), std::string::npos) << body;
  EXPECT_EQ(body.find(document_of("a", 1, "p")), std::string::npos) << "an older revision";
  EXPECT_EQ(body.find(document_of("b", 1, "q")), std::string::npos) << "another patient";
  EXPECT_LT(body.find(session_id_of("a")), body.find(session_id_of("c")));
  EXPECT_TRUE(body.ends_with(R"("more":false})"));
  const auto reads = reads_noted();
  ASSERT_EQ(reads.size(), 1U);
  EXPECT_FALSE(reads[0].patient.empty());
  EXPECT_EQ(ask("POST", "/history", R"({"system":"urn:patients","value":"nobody"})").body,
            R"({"sessions":[],"more":false})");
}

TEST_F(ApiTest, CountsInPrometheusText) {
  ask("POST", "/targets/main/pause", R"({"actor":"Robin Sample","why":"upgrade"})");
  ask("POST", "/sessions", document_of("a", 1, "p"));
  wait_for("/sessions/" + session_id_of("a"), R"("state":"checked")");
  const std::string text = ask("GET", "/metrics").body;
  for (const char* line :
       {"chartferry_records_total{kind=\"accepted\"} 1\n",
        "chartferry_target_paused{target=\"main\"} 0\n",
        "chartferry_target_paused_by_person{target=\"main\"} 1\n",
        "chartferry_target_in_flight{target=\"main\"} 0\n",
        "chartferry_records_total{kind=\"paused\"} 1\n",
        "chartferry_waiting{target=\"main\",state=\"checked\"} 1\n",
        "chartferry_journal_failing 0\n", "chartferry_http_answers_total{class=\"2xx\"} "}) {
    EXPECT_NE(text.find(line), std::string::npos) << line << text;
  }
  EXPECT_EQ(text.find("chartferry_records_total{kind=\"unknown\"}"), std::string::npos);
}

TEST_F(ApiTest, TellsEventsAndWhatWasMissed) {
  RawClient client(server_->port());
  client.send("GET /events HTTP/1.1\r\nHost: x\r\n\r\n");
  client.read_head();
  client.read_exactly(8);  // the opening comment's chunk
  ask("POST", "/sessions", document_of("a", 1, "p"));
  wait_for("/sessions/" + session_id_of("a"), R"("state":"checked")");
  events_->follow();
  const std::string start = client.read_exactly(40);
  EXPECT_NE(start.find("id: 1\nevent: accepted\ndata: {"), std::string::npos) << start;
  RawClient again(server_->port());
  again.send("GET /events HTTP/1.1\r\nHost: x\r\nLast-Event-ID: 1\r\n\r\n");
  again.read_head();
  const std::string missed = again.read_exactly(60);
  EXPECT_NE(missed.find("id: 2\nevent: checked"), std::string::npos) << missed;
}

TEST_F(ApiTest, ListsTheLatestSessions) {
  ask("POST", "/sessions", document_of("a", 1, "p"));
  ask("POST", "/sessions", document_of("b", 1, "p", "unknown-code"));
  const std::string list = wait_for("/traffic", R"("reason":"unknown-code")");
  EXPECT_LT(list.find(session_id_of("b")), list.find(session_id_of("a")));
}

TEST(OpenApi, NamesEveryRouteAndNoOther) {
  const json::NameTable names;
  json::Document document(names);
  ASSERT_TRUE(document.parse(openapi_text()).has_value());
  std::vector<std::string> described;
  for (const json::Node& path : *document.root()->find("paths")) {
    for (const json::Node& method : path) {
      std::string verb(method.name_text());
      std::transform(verb.begin(), verb.end(), verb.begin(),
                     [](char c) { return static_cast<char>(c - 'a' + 'A'); });
      described.push_back(verb + " " + std::string(path.name_text()));
    }
  }
  std::vector<std::string> routes = Api::routes();
  std::erase_if(routes, [](const std::string& route) {
    const std::string path = route.substr(route.find('/') + 1);
    return page_file(path) != nullptr;
  });
  std::sort(routes.begin(), routes.end());
  std::sort(described.begin(), described.end());
  EXPECT_EQ(described, routes);
}

}  // namespace
}  // namespace engine::web

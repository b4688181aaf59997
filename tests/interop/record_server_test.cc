// The sandbox's record server called directly. Expectations: FHIR R4 http (create, update,
// transaction), search and bundle pages.

#include "sandbox/record_server/record_server.h"

#include <cstdio>
#include <filesystem>
#include <fstream>

#include <gtest/gtest.h>

namespace sandbox::record_server {
namespace {

class FixedClock : public engine::base::Clock {
 public:
  std::chrono::system_clock::time_point now() const override {
    return std::chrono::sys_days(std::chrono::year(2026) / 3 / 2) + std::chrono::hours(8);
  }
  std::chrono::steady_clock::time_point steady() const override { return {}; }
};

constexpr std::string_view kJane =
    R"({"resourceType":"Patient","identifier":[{"system":"urn:mrn","value":"1"}],)"
    R"("name":[{"family":"Example","given":["Jane"]}],"birthDate":"1950-04-02"})";

class RecordServerTest : public ::testing::Test {
 protected:
  Response send(std::string method, std::string target, std::string body = {},
                Headers headers = {}) {
    if (!body.empty()) {
      headers.emplace_back("Content-Type", "application/fhir+json");
    }
    return server.handle({std::move(method), std::move(target), std::move(headers), body}).response;
  }
  engine::json::Document parse(const Response& response) {
    engine::json::Document document(names);
    EXPECT_TRUE(document.parse(response.body).has_value()) << response.body;
    return document;
  }
  // The member, which must be there.
  static const engine::json::Node& at(const engine::json::Node* node, std::string_view member) {
    const engine::json::Node* found = node == nullptr ? nullptr : node->find(member);
    ENGINE_CHECK(found != nullptr);
    return *found;
  }
  std::string total(const std::string& target) {
    const Response response = send("GET", target);
    const auto document = parse(response);
    const engine::json::Node* node = document.root()->find("total");
    return node == nullptr ? "status " + std::to_string(response.status)
                           : std::string(node->text());
  }

  FixedClock clock;
  engine::json::NameTable names;
  RecordServer server{"http://host/fhir", clock};
};

std::string transaction(std::string_view entries) {
  return R"({"resourceType":"Bundle","type":"transaction","entry":[)" + std::string(entries) + "]}";
}

std::string observation(std::string_view identifier, std::string_view subject,
                        std::string_view extra = {}) {
  return R"({"resourceType":"Observation","status":"final","identifier":[{"system":"urn:x","value":")" +
         std::string(identifier) +
         R"("}],"code":{"coding":[{"system":"http://loinc.org","code":"59408-5"}]},"subject":{"reference":")" +
         std::string(subject) + R"("},"effectiveDateTime":"2026-03-02T08:10:00+01:00",)" +
         R"("valueQuantity":{"value":93.0})" + std::string(extra) + "}";
}

std::string post_entry(std::string_view full_url, std::string_view resource,
                       std::string_view if_none_exist = {}) {
  std::string out = R"({"fullUrl":")" + std::string(full_url) + R"(","resource":)" +
                    std::string(resource) + R"(,"request":{"method":"POST","url":"Observation")";
  if (!if_none_exist.empty()) {
    out += R"(,"ifNoneExist":")" + std::string(if_none_exist) + '"';
  }
  return out + "}}";
}

constexpr std::string_view kByMrn = "Patient?identifier=urn:mrn|1";

TEST_F(RecordServerTest, CreateAnswersWithLocationAndVersion) {
  const Response response = send("POST", "/fhir/Patient", std::string(kJane));
  EXPECT_EQ(response.status, 201);
  EXPECT_EQ(header_of(response.headers, "Location"), "http://host/fhir/Patient/1/_history/1");
  EXPECT_EQ(header_of(response.headers, "ETag"), "W/\"1\"");
  EXPECT_EQ(header_of(response.headers, "Last-Modified"), "Mon, 02 Mar 2026 08:00:00 GMT");
  EXPECT_TRUE(response.body.starts_with(
      R"({"resourceType":"Patient","id":"1","meta":{"versionId":"1","lastUpdated":"2026-03-02T08:00:00.000Z"},)"))
      << response.body;
}

TEST_F(RecordServerTest, NumbersKeepTheirDigits) {
  send("POST", "/fhir/Patient", std::string(kJane));
  const Response response = send("POST", "/fhir/Observation", observation("a", "Patient/1"));
  EXPECT_NE(response.body.find(R"("value":93.0)"), std::string::npos);
}

TEST_F(RecordServerTest, PreferDecidesWhatAWriteAnswers) {
  EXPECT_EQ(send("POST", "/fhir/Patient", std::string(kJane), {{"Prefer", "return=minimal"}}).body,
            "");
  EXPECT_TRUE(
      send("POST", "/fhir/Patient", std::string(kJane), {{"Prefer", "return=OperationOutcome"}})
          .body.starts_with(R"({"resourceType":"OperationOutcome")"));
}

TEST_F(RecordServerTest, ConditionalCreateMakesOneResourceOnly) {
  const Headers condition = {{"If-None-Exist", "identifier=urn:mrn|1"}};
  EXPECT_EQ(send("POST", "/fhir/Patient", std::string(kJane), condition).status, 201);
  const Response again = send("POST", "/fhir/Patient", std::string(kJane), condition);
  EXPECT_EQ(again.status, 200);
  EXPECT_EQ(header_of(again.headers, "Location"), "http://host/fhir/Patient/1/_history/1");
  EXPECT_EQ(total("/fhir/Patient"), "1");
  send("POST", "/fhir/Patient", std::string(kJane));
  EXPECT_EQ(send("POST", "/fhir/Patient", std::string(kJane), condition).status, 412);
}

struct RefusedCase {
  std::string method;
  std::string target;
  std::string body;
  int status;
  std::string says;  // issue code
};

TEST_F(RecordServerTest, RefusesWhatItCannotServe) {
  send("POST", "/fhir/Patient", std::string(kJane));
  const std::vector<RefusedCase> cases = {
      {"POST", "/fhir/Patient", "{", 400, "structure"},
      {"POST", "/fhir/Patient", R"({"resourceType":"Patient","id":"a","id":"b"})", 400,
       "structure"},
      {"POST", "/fhir/Patient", R"({"resourceType":"Patient","name":[]})", 400, "structure"},
      {"POST", "/fhir/Patient", R"({"resourceType":"Patient","gender":null})", 400, "structure"},
      {"POST", "/fhir/Patient", R"({"resourceType":"Observation"})", 400, "invalid"},
      {"POST", "/fhir/Observation", R"({"resourceType":"Observation","status":"final"})", 422,
       "required"},
      {"POST", "/fhir/Observation", observation("a", "Patient/99"), 422, "not-found"},
      {"POST", "/fhir/Observation", observation("a", std::string(kByMrn)), 400, "not-supported"},
      {"POST", "/fhir/Observation", observation("a", "urn:uuid:1"), 400, "not-found"},
      {"POST", "/fhir/Observation", observation("a", "patient one"), 400, "value"},
      {"POST", "/fhir/Nonsense", "{}", 404, "not-supported"},
      {"PUT", "/fhir/Patient/1", R"({"resourceType":"Patient","id":"2"})", 400, "invalid"},
      {"PUT", "/fhir/Patient/1", R"({"resourceType":"Patient"})", 400, "invalid"},
      {"PUT", "/fhir/Patient/a_b", R"({"resourceType":"Patient","id":"a_b"})", 400, "value"},
      {"PUT", "/fhir/Patient", std::string(kJane), 405, "not-supported"},
      {"PATCH", "/fhir/Patient/1", "[]", 405, "not-supported"},
      {"GET", "/fhir/Patient/2", "", 404, "not-found"},
      {"GET", "/fhir/Patient/1/_history/2", "", 404, "not-found"},
      {"GET", "/fhir/Patient?birthdate=soon", "", 400, "value"},
      {"GET", "/fhir/Patient?name:fuzzy=x", "", 400, "not-supported"},
      {"GET", "/fhir/Patient?_count=x", "", 400, "value"},
      {"GET", "/fhir/Patient?name=%zz", "", 400, "invalid"},
      {"GET", "/fhir/Patient?name=%ff", "", 400, "invalid"},
      {"POST", "/fhir", R"({"resourceType":"Bundle","type":"collection"})", 400, "not-supported"},
      {"GET", "/elsewhere", "", 404, "not-found"},
      {"GET", "/fhirish", "", 404, "not-found"},
  };
  for (const RefusedCase& one : cases) {
    const Response response = send(one.method, one.target, one.body);
    EXPECT_EQ(response.status, one.status) << one.target << ' ' << one.body;
    EXPECT_NE(response.body.find("\"code\":\"" + one.says + '"'), std::string::npos)
        << one.target << ' ' << response.body;
  }
  EXPECT_EQ(total("/fhir/_history"), "1") << "a refused write leaves nothing";
}

TEST_F(RecordServerTest, RefusesOtherMediaTypes) {
  EXPECT_EQ(server.handle({"POST", "/fhir/Patient", {{"content-type", "application/xml"}}, "<a/>"})
                .response.status,
            415);
  EXPECT_EQ(send("GET", "/fhir/metadata", "", {{"Accept", "application/fhir+xml"}}).status, 406);
  EXPECT_EQ(send("GET", "/fhir/metadata?_format=json", "", {{"Accept", "text/html"}}).status, 200);
}

TEST_F(RecordServerTest, UpdateObeysIfMatch) {
  send("POST", "/fhir/Patient", std::string(kJane));
  const std::string with_id = R"({"resourceType":"Patient","id":"1","gender":"female"})";
  EXPECT_EQ(send("PUT", "/fhir/Patient/1", with_id, {{"If-Match", "W/\"7\""}}).status, 412);
  const Response good = send("PUT", "/fhir/Patient/1", with_id, {{"If-Match", "W/\"1\""}});
  EXPECT_EQ(good.status, 200);
  EXPECT_EQ(header_of(good.headers, "ETag"), "W/\"2\"");
  EXPECT_EQ(total("/fhir/Patient?identifier=urn:mrn|1"), "0")
      << "the new version has no identifier";
  EXPECT_NE(send("GET", "/fhir/Patient/1/_history/1").body.find("Jane"), std::string::npos);
}

TEST_F(RecordServerTest, UpdateMayCreateUnlessSwitchedOff) {
  EXPECT_EQ(send("PUT", "/fhir/Patient/p-9", R"({"resourceType":"Patient","id":"p-9"})").status,
            201);
  EXPECT_EQ(send("POST", "/$abilities", R"({"updateCreate":false})").status, 200);
  EXPECT_EQ(send("PUT", "/fhir/Patient/p-8", R"({"resourceType":"Patient","id":"p-8"})").status,
            405);
  EXPECT_EQ(send("POST", "/$abilities", R"({"flight":true})").status, 400);
}

TEST_F(RecordServerTest, ConditionalUpdateFollowsItsTable) {
  const std::string target = "/fhir/Patient?identifier=urn:mrn%7C1";
  EXPECT_EQ(send("PUT", target, std::string(kJane)).status, 201) << "no match, no id: created";
  EXPECT_EQ(send("PUT", target, std::string(kJane)).status, 200) << "one match: updated";
  EXPECT_EQ(total("/fhir/Patient"), "1");
  EXPECT_EQ(send("PUT", target, R"({"resourceType":"Patient","id":"77"})").status, 400);
  EXPECT_EQ(send("PUT", "/fhir/Patient?nonsense=1", std::string(kJane)).status, 400)
      << "an unknown criterion must not widen the condition";
  send("POST", "/fhir/Patient", std::string(kJane));
  EXPECT_EQ(send("PUT", target, std::string(kJane)).status, 412);
}

TEST_F(RecordServerTest, DeletedResourcesAreGoneButRemembered) {
  send("POST", "/fhir/Patient", std::string(kJane));
  EXPECT_EQ(send("DELETE", "/fhir/Patient/1").status, 204);
  EXPECT_EQ(send("DELETE", "/fhir/Patient/1").status, 204);
  EXPECT_EQ(send("GET", "/fhir/Patient/1").status, 410);
  EXPECT_EQ(total("/fhir/Patient"), "0");
  EXPECT_EQ(total("/fhir/Patient/1/_history"), "2");
  EXPECT_EQ(send("GET", "/fhir/Patient/1/_history/1").status, 200);
  EXPECT_EQ(send("GET", "/fhir/Patient/1/_history/2").status, 410);
}

TEST_F(RecordServerTest, ReadingAKnownVersionCostsNoBody) {
  send("POST", "/fhir/Patient", std::string(kJane));
  const Response response = send("GET", "/fhir/Patient/1", "", {{"If-None-Match", "W/\"1\""}});
  EXPECT_EQ(response.status, 304);
  EXPECT_EQ(response.body, "");
  EXPECT_EQ(send("HEAD", "/fhir/Patient/1").body, "");
}

TEST_F(RecordServerTest, SearchesByWhatItDeclares) {
  send("POST", "/fhir/Patient", std::string(kJane));
  send("POST", "/fhir/Observation", observation("a", "Patient/1"));
  send("POST", "/fhir/Observation",
       observation("b", "Patient/1", R"(,"derivedFrom":[{"reference":"Observation/2"}])"));
  const std::vector<std::pair<std::string, std::string>> cases = {
      {"Patient?identifier=urn:mrn|1", "1"},
      {"Patient?identifier=1", "1"},
      {"Patient?identifier=|1", "0"},
      {"Patient?identifier=urn:mrn|", "1"},
      {"Patient?identifier=urn:mrn|2,urn:mrn|1", "1"},
      {"Patient?name=exam", "1"},
      {"Patient?name=jane", "1"},
      {"Patient?family:exact=exam", "0"},
      {"Patient?given:contains=an", "1"},
      {"Patient?birthdate=1950-04", "1"},
      {"Patient?birthdate=lt1950-04-02", "0"},
      {"Patient?gender:missing=true", "1"},
      {"Patient?_id=1", "1"},
      {"Observation?subject=Patient/1", "2"},
      {"Observation?subject=http://host/fhir/Patient/1", "2"},
      {"Observation?patient=1", "2"},
      {"Observation?subject:Patient=1", "2"},
      {"Observation?patient.identifier=urn:mrn|1", "2"},
      {"Observation?subject:Patient.identifier=urn:mrn|2", "0"},
      {"Observation?code=http://loinc.org|59408-5", "2"},
      {"Observation?code=59408-5&identifier=urn:x|b", "1"},
      {"Observation?code:not=59408-5", "0"},
      {"Observation?date=2026-03-02", "2"},
      {"Observation?date=ge2026-03-02T07:10:00Z&date=lt2026-03-02T07:11:00Z", "2"},
      {"Observation?date=gt2026-03-02", "0"},
      {"Observation?status=final", "2"},
      {"Observation?derived-from=Observation/2", "1"},
      {"Observation?unknown=1", "2"},
  };
  for (const auto& [query, expected] : cases) {
    EXPECT_EQ(total("/fhir/" + query), expected) << query;
  }
  EXPECT_EQ(send("GET", "/fhir/Observation?unknown=1", "", {{"Prefer", "handling=strict"}}).status,
            400);
  const Response form = server
                            .handle({"POST",
                                     "/fhir/Patient/_search",
                                     {{"Content-Type", "application/x-www-form-urlencoded"}},
                                     "identifier=urn%3Amrn%7C1"})
                            .response;
  EXPECT_NE(form.body.find("\"total\":1"), std::string::npos) << form.body;
}

TEST_F(RecordServerTest, PagesAreFollowedByTheirLinks) {
  for (int i = 0; i < 5; ++i) {
    send("POST", "/fhir/Patient", std::string(kJane));
  }
  std::string target = "/fhir/Patient?identifier=urn:mrn|1&_count=2";
  std::vector<std::string> ids;
  while (!target.empty()) {
    const Response response = send("GET", target);
    const auto page = parse(response);
    for (const auto& entry : at(page.root(), "entry")) {
      ids.emplace_back(at(&entry, "resource").string_at("id"));
    }
    target.clear();
    for (const auto& link : at(page.root(), "link")) {
      if (link.string_at("relation") == "next") {
        target = link.string_at("url").substr(std::string_view("http://host").size());
      }
    }
  }
  EXPECT_EQ(ids, (std::vector<std::string>{"1", "2", "3", "4", "5"}));
  EXPECT_EQ(total("/fhir/Patient?_summary=count"), "5");
  EXPECT_EQ(send("GET", "/fhir/Patient?_summary=count").body.find("\"entry\""), std::string::npos);
}

TEST_F(RecordServerTest, TransactionRewritesItsOwnLinks) {
  send("POST", "/fhir/Patient", std::string(kJane));
  const std::string first = observation("a", std::string(kByMrn));
  const std::string second = observation(
      "b", std::string(kByMrn),
      R"(,"derivedFrom":[{"reference":"urn:uuid:0a"}],"text":{"status":"generated","div":"<div><a href=\"urn:uuid:0a\">x</a></div>"})");
  const Response response =
      send("POST", "/fhir",
           transaction(post_entry("urn:uuid:0b", second) + ',' + post_entry("urn:uuid:0a", first)));
  ASSERT_EQ(response.status, 200) << response.body;
  const auto answer = parse(response);
  const engine::json::Node& entries = at(answer.root(), "entry");
  ASSERT_EQ(entries.count, 2U);
  EXPECT_EQ(at(entries.first, "response").string_at("location"),
            "http://host/fhir/Observation/2/_history/1");
  EXPECT_EQ(at(entries.first, "response").string_at("status"), "201 Created");
  const Response b = send("GET", "/fhir/Observation/2");
  EXPECT_NE(b.body.find(R"("derivedFrom":[{"reference":"Observation/3"}])"), std::string::npos)
      << b.body;
  EXPECT_NE(b.body.find(R"(href=\"Observation/3\")"), std::string::npos) << b.body;
  EXPECT_NE(b.body.find(R"("subject":{"reference":"Patient/1"})"), std::string::npos) << b.body;
  EXPECT_EQ(total("/fhir/Observation?patient=1"), "2") << "found by the resolved reference";
}

TEST_F(RecordServerTest, TransactionSentAgainMakesNoDoubles) {
  send("POST", "/fhir/Patient", std::string(kJane));
  const std::string body = transaction(
      post_entry("urn:uuid:0a", observation("a", std::string(kByMrn)), "identifier=urn:x|a") + ',' +
      post_entry(
          "urn:uuid:0b",
          observation("b", std::string(kByMrn), R"(,"derivedFrom":[{"reference":"urn:uuid:0a"}])"),
          "identifier=urn:x|b"));
  EXPECT_EQ(send("POST", "/fhir", body).status, 200);
  const Response again = send("POST", "/fhir", body);
  EXPECT_NE(again.body.find("\"200 OK\""), std::string::npos);
  EXPECT_EQ(again.body.find("\"201 Created\""), std::string::npos);
  EXPECT_EQ(total("/fhir/Observation"), "2");
  EXPECT_EQ(total("/fhir/_history"), "3");
}

TEST_F(RecordServerTest, TransactionLinksToWhatIsThereAlready) {
  send("POST", "/fhir/Patient", std::string(kJane));
  send("POST", "/fhir/Observation", observation("a", "Patient/1"));
  const std::string body = transaction(
      post_entry("urn:uuid:0a", observation("a", std::string(kByMrn)), "identifier=urn:x|a") + ',' +
      post_entry("urn:uuid:0b", observation("b", std::string(kByMrn),
                                            R"(,"derivedFrom":[{"reference":"urn:uuid:0a"}])")));
  EXPECT_EQ(send("POST", "/fhir", body).status, 200);
  EXPECT_NE(send("GET", "/fhir/Observation/3").body.find(R"("reference":"Observation/2")"),
            std::string::npos);
}

TEST_F(RecordServerTest, TransactionUpdatesAndCreatesTogether) {
  send("POST", "/fhir/Patient", std::string(kJane));
  send("POST", "/fhir/Observation", observation("a", "Patient/1"));
  const std::string corrected =
      R"({"fullUrl":"urn:uuid:0a","resource":)" + observation("a", std::string(kByMrn)) +
      R"(,"request":{"method":"PUT","url":"Observation?identifier=urn:x|a","ifMatch":"W/\"1\""}})";
  const Response response = send(
      "POST", "/fhir",
      transaction(
          corrected + ',' + post_entry("urn:uuid:0b", observation("b", "urn:uuid:0p")) +
          R"(,{"fullUrl":"urn:uuid:0p","resource":)" + std::string(kJane) +
          R"(,"request":{"method":"POST","url":"Patient","ifNoneExist":"identifier=urn:mrn|1"}})"));
  ASSERT_EQ(response.status, 200) << response.body;
  EXPECT_EQ(header_of(send("GET", "/fhir/Observation/2").headers, "ETag"), "W/\"2\"");
  EXPECT_EQ(total("/fhir/Patient"), "1");
  EXPECT_EQ(send("POST", "/fhir", transaction(corrected)).status, 412) << "the version moved on";
}

TEST_F(RecordServerTest, TransactionFailsAsAWhole) {
  send("POST", "/fhir/Patient", std::string(kJane));
  const std::string good = post_entry("urn:uuid:0a", observation("a", "Patient/1"));
  struct Case {
    std::string name;
    std::string bad;
    int status;
    std::string place;
  };
  const std::vector<Case> cases = {
      {"unknown patient",
       post_entry("urn:uuid:0b", observation("b", "Patient?identifier=urn:mrn|404")), 412,
       "Bundle.entry[1].resource.subject.reference"},
      {"unknown link", post_entry("urn:uuid:0b", observation("b", "urn:uuid:0c")), 400,
       "Bundle.entry[1].resource.subject.reference"},
      {"fullUrl twice", post_entry("urn:uuid:0a", observation("b", "Patient/1")), 400,
       "Bundle.entry[1]"},
      {"no request", R"({"resource":)" + observation("b", "Patient/1") + "}", 400,
       "Bundle.entry[1]"},
      {"no resource", R"({"request":{"method":"POST","url":"Observation"}})", 400,
       "Bundle.entry[1]"},
      {"odd method", R"({"request":{"method":"MOVE","url":"Observation"}})", 400,
       "Bundle.entry[1]"},
      {"odd url",
       R"({"resource":)" + observation("b", "Patient/1") +
           R"(,"request":{"method":"PUT","url":"Observation"}})",
       400, "Bundle.entry[1]"},
      {"bad condition", post_entry("urn:uuid:0b", observation("b", "Patient/1"), "nonsense=1"), 400,
       "Bundle.entry[1]"},
      {"patch", R"({"request":{"method":"PATCH","url":"Observation/1"}})", 405, "Bundle.entry[1]"},
      {"read of nothing", R"({"request":{"method":"GET","url":"Observation/404"}})", 404,
       "Bundle.entry[1]"},
      {"wrong version",
       R"({"resource":)" + std::string(kJane) +
           R"(,"request":{"method":"PUT","url":"Patient?identifier=urn:mrn|1","ifMatch":"W/\"5\""}})",
       412, "Bundle.entry[1]"},
      {"same target twice",
       R"({"request":{"method":"DELETE","url":"Patient/1"}},{"resource":)" +
           std::string(R"({"resourceType":"Patient","id":"1"})") +
           R"(,"request":{"method":"PUT","url":"Patient/1"}})",
       400, "Bundle.entry[2]"},
  };
  for (const Case& one : cases) {
    const Response response = send("POST", "/fhir", transaction(good + ',' + one.bad));
    EXPECT_EQ(response.status, one.status) << one.name << ' ' << response.body;
    EXPECT_NE(response.body.find(one.place), std::string::npos) << one.name << ' ' << response.body;
    EXPECT_TRUE(response.body.starts_with(R"({"resourceType":"OperationOutcome")")) << one.name;
    EXPECT_EQ(total("/fhir/_history"), "1") << one.name << ": nothing may be left";
    EXPECT_EQ(total("/fhir/Patient?identifier=urn:mrn|1"), "1") << one.name;
  }
  EXPECT_EQ(send("POST", "/fhir", transaction(good)).status, 200);
  EXPECT_EQ(send("GET", "/fhir/Observation/2").status, 200) << "ids do not depend on failed units";
}

TEST_F(RecordServerTest, AmbiguousConditionsFailATransaction) {
  send("POST", "/fhir/Patient", std::string(kJane));
  send("POST", "/fhir/Patient", std::string(kJane));
  const Response response =
      send("POST", "/fhir",
           transaction(post_entry("urn:uuid:0b", observation("b", std::string(kByMrn)))));
  EXPECT_EQ(response.status, 412);
  EXPECT_NE(response.body.find("multiple-matches"), std::string::npos);
}

TEST_F(RecordServerTest, BatchEntriesStandAlone) {
  const std::string body = R"({"resourceType":"Bundle","type":"batch","entry":[)"
                           R"({"request":{"method":"GET","url":"Patient?identifier=urn:mrn|1"}},)"
                           R"({"resource":)" +
                           std::string(kJane) +
                           R"(,"request":{"method":"POST","url":"Patient"}},)"
                           R"({"resource":)" +
                           observation("b", "Patient/99") +
                           R"(,"request":{"method":"POST","url":"Observation"}},)"
                           R"({"request":{"method":"GET","url":"Patient/77"}}]})";
  const Response response = send("POST", "/fhir", body);
  ASSERT_EQ(response.status, 200);
  const auto answer = parse(response);
  std::vector<std::string> statuses;
  for (const auto& entry : at(answer.root(), "entry")) {
    statuses.emplace_back(at(&entry, "response").string_at("status"));
  }
  EXPECT_EQ(statuses, (std::vector<std::string>{"200 OK", "201 Created", "422 Unprocessable Entity",
                                                "404 Not Found"}));
  EXPECT_NE(response.body.find("\"total\":1"), std::string::npos)
      << "reading entries are served after writing ones";
}

TEST_F(RecordServerTest, StatesItsAbilities) {
  auto statement = parse(send("GET", "/fhir/metadata"));
  EXPECT_EQ(at(statement.root(), "resourceType").text(), "CapabilityStatement");
  EXPECT_EQ(at(statement.root(), "fhirVersion").text(), "4.0.1");
  EXPECT_NE(send("GET", "/fhir/metadata").body.find(R"({"code":"transaction"})"),
            std::string::npos);
  send("POST", "/$abilities", R"({"transaction":false})");
  EXPECT_EQ(send("GET", "/fhir/metadata").body.find(R"({"code":"transaction"})"),
            std::string::npos);
  EXPECT_EQ(send("POST", "/fhir", transaction("")).status, 400);
}

TEST_F(RecordServerTest, FaultsHitTheRequestsTheyName) {
  EXPECT_EQ(
      send(
          "POST", "/$faults",
          R"({"faults":[{"action":"status","status":503,"retryAfter":2,"skip":1,"times":1,"method":"POST"}]})")
          .status,
      200);
  EXPECT_EQ(send("POST", "/fhir/Patient", std::string(kJane)).status, 201);
  EXPECT_EQ(send("GET", "/fhir/Patient").status, 200);
  const Response hit = send("POST", "/fhir/Patient", std::string(kJane));
  EXPECT_EQ(hit.status, 503);
  EXPECT_EQ(header_of(hit.headers, "Retry-After"), "2");
  EXPECT_EQ(send("POST", "/fhir/Patient", std::string(kJane)).status, 201);
  EXPECT_EQ(total("/fhir/Patient"), "2");
  for (const char* bad : {"[]", "{}", R"({"faults":[{}]})", R"({"faults":[{"action":"melt"}]})",
                          R"({"faults":[{"action":"status","every":0}]})",
                          R"({"faults":[{"action":"status","status":"x"}]})",
                          R"({"faults":[{"action":"latency","color":1}]})"}) {
    EXPECT_EQ(send("POST", "/$faults", bad).status, 400) << bad;
  }
}

TEST_F(RecordServerTest, ACommitMayBeAnsweredWithAFailureAndTheNextTryWithARefusal) {
  send("POST", "/$faults",
       R"({"faults":[{"action":"status-after-commit","status":500,"times":1,"transactions":true},)"
       R"({"action":"status","status":422,"times":1,"transactions":true}]})");
  const std::string bundle = transaction(post_entry("urn:uuid:1", observation("a", "Patient/1")));
  EXPECT_EQ(send("POST", "/fhir/Patient", std::string(kJane)).status, 201) << "is no transaction";
  EXPECT_EQ(send("POST", "/fhir", bundle).status, 500);
  EXPECT_EQ(total("/fhir/Observation"), "1");
  EXPECT_EQ(send("POST", "/fhir", bundle).status, 422);
  EXPECT_EQ(total("/fhir/Observation"), "1");
  EXPECT_EQ(send("POST", "/fhir", bundle).status, 200);
}

TEST_F(RecordServerTest, ConnectionsDropBeforeOrAfterTheCommit) {
  struct Case {
    std::string action;
    bool drop;
    std::string kept;
  };
  for (const Case& one : {Case{"drop-before-commit", true, "0"}, Case{"html", false, "0"},
                          Case{"drop-after-commit", true, "1"},
                          Case{"html-after-commit", false, "2"}, Case{"slow-body", false, "3"}}) {
    send("POST", "/$faults",
         R"({"faults":[{"action":")" + one.action + R"(","times":1,"delayMs":5}]})");
    const Answered answered = server.handle(
        {"POST", "/fhir/Patient", {{"Content-Type", "application/fhir+json"}}, std::string(kJane)});
    EXPECT_EQ(answered.drop, one.drop) << one.action;
    EXPECT_EQ(answered.slow, one.action == "slow-body");
    EXPECT_EQ(answered.delay.count(), 5) << one.action;
    EXPECT_EQ(total("/fhir/Patient"), one.kept) << one.action;
  }
  EXPECT_NE(send("GET", "/$counters").body.find(R"("fault:slow-body":1)"), std::string::npos);
}

class KeptTest : public RecordServerTest {
 protected:
  void SetUp() override { std::filesystem::remove(path); }
  void TearDown() override { std::filesystem::remove(path); }
  std::string path = ::testing::TempDir() + "record_server_kept_" +
                     ::testing::UnitTest::GetInstance()->current_test_info()->name();
};

TEST_F(KeptTest, CommittedWritesSurviveARestart) {
  ASSERT_TRUE(server.keep_in(path).has_value());
  send("POST", "/fhir/Patient", std::string(kJane));
  send("POST", "/fhir/Patient", std::string(kJane));
  send("DELETE", "/fhir/Patient/2");
  send("POST", "/fhir", transaction(post_entry("urn:uuid:1", observation("a", "Patient/404"))));
  send("POST", "/fhir", transaction(post_entry("urn:uuid:1", observation("a", "Patient/1"))));
  const std::string before = send("GET", "/fhir/_history").body;

  RecordServer second("http://host/fhir", clock);
  ASSERT_TRUE(second.keep_in(path).has_value());
  EXPECT_EQ(second.handle({"GET", "/fhir/_history", {}, ""}).response.body, before);
}

TEST_F(KeptTest, ATornLastLineIsCutOff) {
  ASSERT_TRUE(server.keep_in(path).has_value());
  send("POST", "/fhir/Patient", std::string(kJane));
  std::ofstream(path, std::ios::app) << R"([{"type":"Patient","id")";
  RecordServer second("http://host/fhir", clock);
  ASSERT_TRUE(second.keep_in(path).has_value());
  EXPECT_EQ(
      second
          .handle(
              {"POST", "/fhir/Patient", {{"Content-Type", "application/json"}}, std::string(kJane)})
          .response.status,
      201);
  RecordServer third("http://host/fhir", clock);
  ASSERT_TRUE(third.keep_in(path).has_value());
  EXPECT_EQ(third.store().records().size(), 2U);
}

TEST_F(KeptTest, ABrokenLineIsNamed) {
  std::ofstream(path) << "[]\n[{\"type\":\"Patient\"}]\n";
  const auto kept = server.keep_in(path);
  ASSERT_FALSE(kept.has_value());
  EXPECT_EQ(kept.error().code, engine::base::ErrorCode::kCorrupt);
  EXPECT_TRUE(kept.error().where.ends_with(":2"));
}

TEST_F(RecordServerTest, AWriteThatCannotBeKeptIsNotMade) {
  ASSERT_TRUE(server.keep_in("/dev/full").has_value());
  EXPECT_EQ(send("POST", "/fhir/Patient", std::string(kJane)).status, 500);
  EXPECT_EQ(total("/fhir/Patient"), "0");
}

}  // namespace
}  // namespace sandbox::record_server

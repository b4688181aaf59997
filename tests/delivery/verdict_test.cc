#include "engine/delivery/verdict.h"

#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "engine/delivery/back_off.h"
#include "engine/delivery/http_peer.h"
#include "engine/delivery/landing.h"
#include "engine/delivery/location.h"

namespace engine::delivery {
namespace {

Reply reply(int status, std::string body = {}) {
  Reply out;
  out.status = status;
  out.body = std::move(body);
  return out;
}

std::string outcome(const std::string& code, const std::string& text = "") {
  return R"({"resourceType":"OperationOutcome","issue":[{"severity":"error","code":")" + code +
         R"(","diagnostics":")" + text + R"("}]})";
}

std::string response(const std::string& entries) {
  return R"({"resourceType":"Bundle","type":"transaction-response","entry":[)" + entries + "]}";
}

// An entry that was created, with what the server says of it.
std::string told(const std::string& severity) {
  return R"({"response":{"status":"201 Created","outcome":{"resourceType":"OperationOutcome",)"
         R"("issue":[{"severity":"information"},{"severity":")" +
         severity + R"("}]}}})";
}

std::string print(const Verdict& verdict) {
  static const char* const kNames[] = {"landed",    "hold",  "hold-retry",
                                       "in-pieces", "retry", "pause"};
  return std::string(kNames[static_cast<int>(verdict.action)]) +
         (verdict.reason.empty() ? "" : " " + verdict.reason) + (verdict.unknown ? " unknown" : "");
}

constexpr const char* kCreated =
    R"({"response":{"status":"201 Created","location":"Observation/1/_history/1","etag":"W/\"1\""}})";
constexpr const char* kThere = R"({"response":{"status":"200 OK","location":"Observation/2"}})";

TEST(Verdict, LandsOnlyWhenEveryEntrySaysSo) {
  const Verdict good =
      judge(reply(200, response(std::string(kCreated) + "," + kThere)), 2, false, 0);
  EXPECT_EQ(print(good), "landed");
  EXPECT_EQ(
      to_text(good.landing),
      R"([{"location":"Observation/1/_history/1","etag":"W/\"1\""},{"location":"Observation/2"}])");
  EXPECT_EQ(print(judge(reply(200, response("")), 0, false, 0)), "landed");
}

// What else may stand in a location is no name of a resource, and is not kept.
TEST(Verdict, KeepsOfALocationWhatNamesAResource) {
  const std::string id(64, 'i');
  struct Said {
    std::string location;
    std::string kept;
  };
  const Said table[] = {
      {"https://records.example/fhir/Observation/1/_history/2", "Observation/1/_history/2"},
      {"Observation/1/_history/a b", "Observation/1"},
      {"Observation/" + id + "/_history/" + id, "Observation/" + id + "/_history/" + id},
      {"Observation/" + id + "i", ""},
      {std::string(64, 'T') + "/1", std::string(64, 'T') + "/1"},
      {std::string(65, 'T') + "/1", ""},
      {"Robin Sample, 1958-01-02", ""},
      {"Observation?identifier=a|b", ""},
      {std::string(1'000'000, 'x'), ""},
      {"", ""},
  };
  for (const Said& row : table) {
    const std::string entry =
        R"({"response":{"status":"201 Created","location":")" + row.location + R"("}})";
    const Verdict verdict = judge(reply(200, response(entry)), 1, false, 0);
    ASSERT_EQ(print(verdict), "landed") << row.location.substr(0, 80);
    EXPECT_EQ(verdict.landing[0].location, row.kept);
  }
}

struct Row {
  const char* name;
  Reply reply;
  bool uncertain;
  std::string expected;
};

TEST(Verdict, EveryAnswerHasItsMeaning) {
  Reply cut = reply(200, response(kCreated));
  cut.body_cut = true;
  std::string with_expression = outcome("too-long");
  with_expression.insert(with_expression.find("}]"), R"(,"expression":["Observation.note"])");
  const std::vector<Row> table = {
      {"entry missing", reply(200, response("")), false, "hold unexpected-answer unknown"},
      {"entry failed", reply(200, response(R"({"response":{"status":"422"}})")), false,
       "hold unexpected-answer unknown"},
      {"entry succeeded and failed", reply(200, response(told("fatal"))), false,
       "hold unexpected-answer unknown"},
      {"entry with a warning", reply(200, response(told("warning"))), false, "landed"},
      {"no response", reply(200, response("{}")), false, "hold unexpected-answer unknown"},
      {"cut short", cut, false, "hold unexpected-answer unknown"},
      {"web page", reply(200, "\n <!doctype html><html>"), false, "hold html-answer unknown"},
      {"empty", reply(200), false, "hold unexpected-answer unknown"},
      {"batch", reply(200, R"({"resourceType":"Bundle","type":"batch-response","entry":[]})"),
       false, "hold unexpected-answer unknown"},
      {"later", reply(202), false, "hold unexpected-answer unknown"},
      {"elsewhere", reply(307), false, "hold unexpected-answer"},
      {"bad", reply(400), false, "hold refused"},
      {"bad with reason", reply(400, outcome("invalid")), false, "hold refused"},
      {"sign in", reply(401), false, "pause sign-in-refused"},
      {"forbidden", reply(403, outcome("not-found")), false, "hold forbidden"},
      {"no such path", reply(404, "<html>"), false, "pause endpoint-unknown"},
      {"no such type", reply(404, outcome("not-supported")), false, "hold refused"},
      {"unknown patient 404", reply(404, outcome("not-found", "Patient?identifier=...")), false,
       "hold-retry unknown-patient"},
      {"unknown patient 412", reply(412, outcome("not-found", "no Patient matches")), false,
       "hold-retry unknown-patient"},
      {"unknown encounter 400", reply(400, outcome("not-found", "Encounter")), false,
       "hold-retry unknown-reference"},
      {"several patients", reply(412, outcome("multiple-matches", "Patient")), false,
       "hold several-matches"},
      {"version", reply(412), false, "hold version-conflict"},
      {"version after silence", reply(412), true, "hold version-conflict unknown"},
      {"timeout", reply(408), false, "retry server-timeout unknown"},
      {"conflict", reply(409), false, "retry conflict"},
      {"duplicate", reply(409, outcome("duplicate")), false, "retry conflict"},
      {"gone", reply(410), false, "hold gone"},
      {"large", reply(413), false, "hold too-large"},
      {"too costly", reply(422, outcome("too-costly")), false, "hold too-large"},
      {"too long", reply(400, outcome("too-long")), false, "hold too-large"},
      {"one value too long", reply(422, with_expression), false, "hold refused"},
      {"media", reply(415), false, "pause media-type"},
      {"rule", reply(422, outcome("business-rule")), false, "hold refused"},
      {"lock", reply(422, outcome("lock-error")), false, "retry busy"},
      {"locked", reply(423), false, "retry locked"},
      {"throttled", reply(429), false, "pause throttled"},
      {"error", reply(500, outcome("exception")), false, "retry server-error unknown"},
      {"not implemented", reply(501), false, "pause no-transactions unknown"},
      {"bad gateway", reply(502), false, "pause unavailable unknown"},
      {"away", reply(503), false, "pause unavailable unknown"},
      {"strange", reply(599), false, "retry unexpected-answer unknown"},
      {"teapot", reply(418), false, "hold unexpected-answer"},
      {"refused", Reply(Reply::Fate::kNotSent, "refused"), false, "pause unreachable"},
      {"silence", Reply(Reply::Fate::kNoAnswer, "eof"), false, "retry no-answer unknown"},
  };
  for (const Row& row : table) {
    EXPECT_EQ(print(judge(row.reply, 1, row.uncertain, 0)), row.expected) << row.name;
  }
}

TEST(RetryAfter, IsReadAsSecondsOrDateAndBounded) {
  const auto read = [](const std::string& text) {
    Reply with;
    with.headers = {{"Retry-After", text}};
    // RFC 9110 section 5.6.7 has this date; one minute before it.
    return retry_after(with, 784'111'777'000 - 60'000).count();
  };
  EXPECT_EQ(read("7"), 7'000);
  EXPECT_EQ(read("Sun, 06 Nov 1994 08:49:37 GMT"), 60'000);
  EXPECT_EQ(read("Sun, 06 Nov 1994 08:40:00 GMT"), 0);
  EXPECT_EQ(read("99999999999"), 600'000);
  EXPECT_EQ(read("999999999999999999999999"), 600'000);
  EXPECT_EQ(read("9223372036854775807"), 600'000);
  for (const char* bad : {"", "-5", "-9223372036854775808", "-999999999999999999999999", "soon",
                          "7 s", "Sun, 06 Nov"}) {
    EXPECT_EQ(read(bad), 0) << bad;
  }
  EXPECT_EQ(retry_after(Reply(), 0).count(), 0);
}

class Constant final : public base::Random {
 public:
  explicit Constant(std::uint8_t byte) : byte_(byte) {}
  void fill(std::span<std::uint8_t> bytes) override {
    std::fill(bytes.begin(), bytes.end(), byte_);
  }

 private:
  std::uint8_t byte_;
};

TEST(EntityTag, IsTakenAsTheStandardWritesItAndNoOtherWay) {
  const std::string most(base::limits::kEntityTagBytesMax - 2, 'x');
  for (const std::string& good : {std::string("\"\""), std::string("\"1\""), std::string("W/\"1\""),
                                  std::string("W/\"a!#b-\""), "\"" + most + "\""}) {
    EXPECT_EQ(entity_tag_of(good), good);
  }
  for (const std::string& bad :
       {std::string(), std::string("1"), std::string("\""), std::string("W/"), std::string("W/\""),
        std::string("w/\"1\""), std::string("\"1\" "), std::string("\"a\"b\""),
        std::string("\"a b\""), std::string("W/\"1\r\nDELETE /Patient/1 HTTP/1.1\r\n\""),
        std::string("\"a\0b\"", 5), std::string("\"\x7F\""), "\"" + most + "x\""}) {
    EXPECT_EQ(entity_tag_of(bad), "") << bad;
  }
  EXPECT_EQ(entity_tag_of("W/\"\xFF\xFE\""), "") << "no text, and parts of records are";
  // As an engine wrote it that took such a tag.
  const auto landing = parse_landing(
      "[{\"location\":\"Observation/2/_history/1\",\"etag\":\"W/\\\"\xFF\xFE\\\"\"}]");
  ASSERT_TRUE(landing.has_value());
  EXPECT_EQ(landing->front().location, "Observation/2/_history/1");
  EXPECT_EQ(landing->front().etag, "W/\"??\"");
}

TEST(BackOff, DoublesUpToTheCapAndStaysWithin) {
  using std::chrono::milliseconds;
  EXPECT_EQ(doubled(milliseconds(200), 0, milliseconds(60'000)).count(), 200);
  EXPECT_EQ(doubled(milliseconds(200), 5, milliseconds(60'000)).count(), 6'400);
  EXPECT_EQ(doubled(milliseconds(200), 9, milliseconds(60'000)).count(), 60'000);
  EXPECT_EQ(doubled(milliseconds(200), 4'000'000'000U, milliseconds(60'000)).count(), 60'000);
  for (const int byte : {0, 1, 127, 255}) {
    Constant random(static_cast<std::uint8_t>(byte));
    EXPECT_LE(full_jitter(milliseconds(100), random).count(), 100);
    EXPECT_GE(full_jitter(milliseconds(100), random).count(), 0);
    EXPECT_EQ(full_jitter(milliseconds(0), random).count(), 0);
  }
}

TEST(BaseUrl, IsReadOrRefused) {
  const auto read = [](const char* text) {
    const auto url = parse_base_url(text);
    return url ? std::string(url->tls ? "tls " : "plain ") + url->host + " " +
                     std::to_string(url->port) + " " + url->path + " " + url->authority()
               : "refused: " + url.error().detail;
  };
  EXPECT_EQ(read("http://a"), "plain a 80  a");
  EXPECT_EQ(read("https://a.example/fhir/"), "tls a.example 443 /fhir a.example");
  EXPECT_EQ(read("http://127.0.0.1:8081/x/y"), "plain 127.0.0.1 8081 /x/y 127.0.0.1:8081");
  EXPECT_EQ(read("http://[::1]:9/f"), "plain ::1 9 /f [::1]:9");
  for (const char* bad :
       {"", "a", "ftp://a", "http://", "http://:80", "http://a:", "http://a:0", "http://a:65536",
        "http://a:8x", "http://u:p@a", "http://a/?q", "http://a/#f", "http://a b", "http://[::1"}) {
    EXPECT_EQ(read(bad).substr(0, 8), "refused:") << bad;
  }
}

TEST(CountEntries, CountsWhatABundleHas) {
  EXPECT_EQ(count_entries(R"({"entry":[{},{}]})"), 2u);
  for (const char* none : {"", "[]", "{}", R"({"entry":{}})"}) {
    EXPECT_EQ(count_entries(none), 0u) << none;
  }
}

}  // namespace
}  // namespace engine::delivery

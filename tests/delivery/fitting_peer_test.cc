// Transactions at record servers that take none. The server of these tests knows no references but
// to what it has, as one without transactions does; it can stop at any write.

#include "engine/delivery/fitting_peer.h"

#include <map>
#include <string>

#include <gtest/gtest.h>

#include "engine/delivery/carriage.h"
#include "engine/delivery/verdict.h"
#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::delivery {
namespace {

using json::Document;
using json::Node;

Reply status(int code) {
  Reply reply;
  reply.status = code;
  return reply;
}

class Server final : public Peer {
 public:
  struct Kept {
    int version = 1;
    std::string identifier;
    std::string content;
  };
  enum class Stop { kNever, kBefore, kAfter, kPortal };

  explicit Server(std::string interactions) : interactions_(std::move(interactions)) {}

  void call(Call call, std::function<void(Reply)> done) override {
    log += call.method + " " + call.path + "; ";
    last = call;
    done(answer(call));
  }

  std::map<std::string, Kept> kept = {{"Patient/7", {1, "p", "{}"}}};
  std::string log;
  Call last{"", "", "", ""};
  int metadata = 200;
  bool locations = true;
  std::string searchset;     // the answer to every search; empty: what is kept
  std::string elsewhere;     // the place that every write is said to have; empty: its own
  std::string outcome;       // what it says of every write
  Stop stop = Stop::kNever;  // at write number `stop_at`
  int stop_at = 0;
  std::map<int, int> answers;  // by number of the write: this status, whatever became of it
  int writes = 0;

 private:
  Reply answer(const Call& call) {
    if (call.path == "/metadata") {
      Reply reply = status(metadata);
      reply.body = R"({"resourceType":"CapabilityStatement","rest":[{"mode":"server",)"
                   R"("interaction":[)" +
                   interactions_ + "]}]}";
      return reply;
    }
    if (call.path.ends_with("/_search")) {
      return search(call.path.substr(1, call.path.find('/', 1) - 1), call.body);
    }
    Document document(names_);
    EXPECT_TRUE(document.parse(call.body)) << call.body;
    if (call.path.empty()) {
      return batch(*document.root());
    }
    std::string create;
    std::string match;
    for (const auto& [name, value] : call.headers) {
      (name == "If-None-Exist" ? create : match) = value;
    }
    return one(call.method, call.path.substr(1), create, match, *document.root());
  }

  Reply search(const std::string& type, const std::string& form) {
    EXPECT_EQ(last.content_type, "application/x-www-form-urlencoded");
    Reply reply = status(200);
    if (!searchset.empty()) {
      reply.body = searchset;
      return reply;
    }
    reply.body = R"({"resourceType":"Bundle","type":"searchset","entry":[)";
    for (const auto& [place, one] : kept) {
      if (place.starts_with(type + "/") && "identifier=s%7C" + one.identifier == form) {
        reply.body += reply.body.ends_with('[') ? "" : ",";
        reply.body += R"({"resource":{"resourceType":")" + type + R"(","id":")" +
                      place.substr(type.size() + 1) + R"(","identifier":[{"system":"s","value":")" +
                      one.identifier + "\"}]}}";
      }
    }
    reply.body += "]}";
    return reply;
  }

  Reply batch(const Node& bundle) {
    if (interactions_.find(std::string(bundle.string_at("type"))) == std::string::npos) {
      return status(400);
    }
    Reply reply = status(200);
    reply.body = R"({"resourceType":"Bundle","type":")" + std::string(bundle.string_at("type")) +
                 R"(-response","entry":[)";
    for (const Node& entry : *bundle.find("entry")) {
      const Node& request = *entry.find("request");
      const Reply made =
          one(std::string(request.string_at("method")), std::string(request.string_at("url")),
              std::string(request.string_at("ifNoneExist")),
              std::string(request.string_at("ifMatch")), *entry.find("resource"));
      if (made.fate != Reply::Fate::kAnswered) {
        return made;
      }
      reply.body += reply.body.ends_with('[') ? "" : ",";
      reply.body += R"({"response":{"status":")" + std::to_string(made.status) + '"';
      if (!made.header("location").empty()) {
        reply.body += R"(,"location":")" + std::string(made.header("location")) + '"';
      }
      if (!made.body.empty()) {
        reply.body += R"(,"outcome":)" + made.body;
      }
      reply.body += "}}";
    }
    reply.body += "]}";
    return reply;
  }

  bool refers_well(const Node& node) {
    for (const Node& child : node) {
      if (child.name_text() == "reference" && kept.count(std::string(child.text())) == 0) {
        return false;
      }
      if (child.first != nullptr && !refers_well(child)) {
        return false;
      }
    }
    return true;
  }

  static std::string unescaped(const std::string& url, std::size_t from) {
    std::string query = url.substr(from);
    if (const std::size_t bar = query.find("%7C"); bar != std::string::npos) {
      query.replace(bar, 3, "|");
    }
    return query;
  }

  Reply one(const std::string& method, const std::string& url, const std::string& create,
            const std::string& match, const Node& resource) {
    const Stop now = ++writes == stop_at ? stop : Stop::kNever;
    if (const auto told = answers.find(writes); told != answers.end()) {
      return status(told->second);
    }
    if (now == Stop::kBefore) {
      return Reply(Reply::Fate::kNotSent, "away");
    }
    if (now == Stop::kPortal) {
      Reply page = status(200);
      page.body = "<html><body>Welcome to the guest network</body></html>";
      return page;
    }
    if (!refers_well(resource)) {
      return status(422);
    }
    const std::size_t question = url.find('?');
    const std::string type = url.substr(0, question);
    const std::string wanted =
        method == "POST" || question == std::string::npos ? create : unescaped(url, question + 1);
    std::string place = url;
    if (method == "POST" || question != std::string::npos) {
      place.clear();
      for (const auto& [other, there] : kept) {
        place = other.starts_with(type + "/") && "identifier=s|" + there.identifier == wanted
                    ? other
                    : place;
      }
    }
    int code = 200;
    if (place.empty()) {
      place = type + "/" + std::to_string(kept.size() + 10);
      kept[place] = {1, wanted.substr(wanted.find('|') + 1), json::to_text(resource)};
      code = 201;
    } else if (method == "PUT") {
      if (!match.empty() && match != "W/\"" + std::to_string(kept[place].version) + '"') {
        return status(412);
      }
      code = kept.count(place) == 0 ? 201 : 200;
      kept[place].version += code == 200 ? 1 : 0;
      kept[place].content = json::to_text(resource);
    }
    if (now == Stop::kAfter) {
      return Reply(Reply::Fate::kNoAnswer, "silence");
    }
    Reply reply = status(code);
    reply.body = outcome;
    if (locations) {
      reply.headers.emplace_back("Location",
                                 (elsewhere.empty() ? place : elsewhere) + "/_history/1");
    }
    return reply;
  }

  json::NameTable names_;
  std::string interactions_;
};

constexpr const char* kBatch = R"({"code":"batch"})";
constexpr const char* kNone = R"({"code":"history-system"})";
constexpr const char* kBoth = R"({"code":"batch"},{"code":"transaction"})";

std::string entry(const std::string& name, const std::string& references) {
  return R"({"fullUrl":"urn:)" + name + R"(","resource":{"resourceType":"Observation",)" +
         R"("subject":{"reference":"Patient?identifier=s|p"},"part":[)" + references +
         R"(]},"request":{"method":"POST","url":"Observation","ifNoneExist":"identifier=s|)" +
         name + "\"}}";
}
std::string to(const std::string& name) {
  return R"({"reference":"urn:)" + name + "\"}";
}
std::string bundle(const std::string& entries) {
  return R"({"resourceType":"Bundle","type":"transaction","entry":[)" + entries + "]}";
}
// c is about a and b and stands first; the Provenance is about c.
const std::string kSession =
    bundle(entry("c", to("a") + "," + to("b")) + "," + entry("a", "") + "," + entry("b", "") +
           R"(,{"fullUrl":"urn:v","resource":{"resourceType":"Provenance","id":"v","target":[)" +
           to("c") + R"(]},"request":{"method":"PUT","url":"Provenance/v"}})");

class FittingPeerTest : public ::testing::Test {
 protected:
  void at(const std::string& interactions) {
    auto server = std::make_unique<Server>(interactions);
    server_ = server.get();
    peer_ = make_fitting_peer(std::move(server));
  }
  Reply post(const std::string& body) {
    Reply out(Reply::Fate::kNotSent, "nothing was answered");
    peer_->call(Call("POST", "", body, "id"), [&out](Reply reply) { out = std::move(reply); });
    return out;
  }
  static std::string verdict(const Reply& reply) {
    const Verdict verdict = judge(reply, 4, false, 0);
    return verdict.action == Verdict::Action::kLanded ? "landed" : verdict.reason;
  }
  Server* server_ = nullptr;
  std::unique_ptr<FittingPeer> peer_;
};

TEST_F(FittingPeerTest, AServerWithTransactionsGetsTheBundleAsItIs) {
  at(kBoth);
  post(kSession);
  EXPECT_EQ(server_->log, "GET /metadata; POST ; ");
  EXPECT_EQ(server_->last.body, kSession);
  EXPECT_TRUE(peer_->lands_whole());
  post(kSession);
  EXPECT_EQ(server_->log, "GET /metadata; POST ; POST ; ") << "the statement is asked for once";
}

TEST_F(FittingPeerTest, BatchesGoInTheOrderOfTheReferences) {
  at(kBatch);
  const Reply reply = post(kSession);
  EXPECT_EQ(verdict(reply), "landed") << reply.body;
  EXPECT_EQ(server_->log, "GET /metadata; POST /Patient/_search; POST ; POST ; POST ; ");
  EXPECT_FALSE(peer_->lands_whole());
  EXPECT_EQ(peer_->mode(), "batch");
  const Landing landing = judge(reply, 4, false, 0).landing;
  ASSERT_EQ(landing.size(), 4U);
  EXPECT_NE(server_->kept[landing[0].location.substr(0, 14)].content.find(
                R"("reference":")" + landing[1].location.substr(0, 14)),
            std::string::npos)
      << "by entry of the bundle, whatever the order";
  EXPECT_EQ(landing[3].location, "Provenance/v/_history/1");
}

TEST_F(FittingPeerTest, SingleResourcesGoInTheOrderOfTheReferences) {
  at(kNone);
  EXPECT_EQ(verdict(post(kSession)), "landed");
  EXPECT_EQ(server_->log,
            "GET /metadata; POST /Patient/_search; POST /Observation; POST /Observation; "
            "POST /Observation; PUT /Provenance/v; ");
}

TEST_F(FittingPeerTest, StoppedAnywhereAndBegunAgainItWritesOnce) {
  for (const char* interactions : {kBatch, kNone}) {
    for (const Server::Stop stop : {Server::Stop::kBefore, Server::Stop::kAfter}) {
      for (int write = 1; write <= 4; ++write) {
        at(interactions);
        server_->stop = stop;
        server_->stop_at = write;
        const Reply stopped = post(kSession);
        EXPECT_NE(verdict(stopped), "landed");
        const bool in_doubt = stopped.partly || stopped.fate == Reply::Fate::kNoAnswer;
        EXPECT_TRUE(in_doubt || server_->kept.size() == 1 || (interactions == kBatch && write < 4));
        EXPECT_EQ(verdict(post(kSession)), "landed");
        EXPECT_EQ(server_->kept.size(), 5U) << interactions << write;
        for (const auto& [place, one] : server_->kept) {
          // PUT of the same content again makes a version; the courier looks before it does.
          EXPECT_TRUE(one.version == 1 || place == "Provenance/v") << place << write;
        }
      }
    }
  }
}

TEST_F(FittingPeerTest, APageOfAPortalInTheMiddleIsNoLanding) {
  for (int write = 1; write <= 4; ++write) {
    at(kNone);
    server_->stop = Server::Stop::kPortal;
    server_->stop_at = write;
    const Reply stopped = post(kSession);
    EXPECT_EQ(verdict(stopped), "html-answer") << write;
    EXPECT_EQ(stopped.partly, write > 1);
    EXPECT_EQ(verdict(post(kSession)), "landed");
    EXPECT_EQ(server_->kept.size(), 5U) << write;
  }
}

TEST_F(FittingPeerTest, NothingIsWrittenWhoseReferencesAreUnknown) {
  for (const char* interactions : {kBatch, kNone}) {
    at(interactions);
    server_->kept.clear();
    EXPECT_EQ(verdict(post(kSession)), "unknown-patient");
    EXPECT_EQ(server_->writes, 0);
    server_->kept = {{"Patient/7", {1, "p", "{}"}}, {"Patient/8", {1, "p", "{}"}}};
    EXPECT_EQ(verdict(post(kSession)), "several-matches");
    EXPECT_EQ(server_->writes, 0);
  }
}

TEST_F(FittingPeerTest, APatientIsWhoWasAskedForAndNobodyElse) {
  const std::string right =
      R"({"resource":{"resourceType":"Patient","id":"7","identifier":[{"system":"s","value":"p"}]}})";
  struct Row {
    const char* name;
    std::string members;
    std::string entries;
    const char* verdict;
  };
  const Row table[] = {
      {"the one", "", right, "landed"},
      {"among other identifiers", R"("total":1,)",
       R"({"resource":{"resourceType":"Patient","id":"7","identifier":[{"value":"p"},)"
       R"({"system":"s","value":"p"}]},"search":{"mode":"match"}})",
       "landed"},
      {"what came along is left out", "",
       R"({"resource":{"resourceType":"Organization","id":"1"},"search":{"mode":"include"}},)" +
           right,
       "landed"},
      {"a printer", R"("total":4711,"link":[{"relation":"next","url":"?page=2"}],)",
       R"({"resource":{"resourceType":"Device","id":"printer-7"}})", "several-matches"},
      {"another type", "",
       R"({"resource":{"resourceType":"Device","id":"7","identifier":[{"system":"s","value":"p"}]}})",
       "unknown-patient"},
      {"no identifier", "", R"({"resource":{"resourceType":"Patient","id":"7"}})",
       "unknown-patient"},
      {"another system", "",
       R"({"resource":{"resourceType":"Patient","id":"7","identifier":[{"system":"t","value":"p"}]}})",
       "unknown-patient"},
      {"another value", "",
       R"({"resource":{"resourceType":"Patient","id":"7","identifier":[{"system":"s","value":"q"}]}})",
       "unknown-patient"},
      {"an id that is none", "",
       R"({"resource":{"resourceType":"Patient","id":"7/../8","identifier":)"
       R"([{"system":"s","value":"p"}]}})",
       "unknown-patient"},
      {"one of several, by its count", R"("total":2,)", right, "several-matches"},
      {"a count that is none", R"("total":1e9,)", right, "several-matches"},
      {"more pages", R"("link":[{"relation":"self"},{"relation":"next"}],)", right,
       "several-matches"},
      {"two", "", right + "," + right, "several-matches"},
      {"counted and not shown", R"("total":1,)", "", "unknown-patient"},
      {"none", R"("total":0,)", "", "unknown-patient"},
  };
  for (const char* interactions : {kBatch, kNone}) {
    for (const Row& row : table) {
      at(interactions);
      server_->searchset = R"({"resourceType":"Bundle","type":"searchset",)" + row.members +
                           R"("entry":[)" + row.entries + "]}";
      EXPECT_EQ(verdict(post(kSession)), row.verdict) << row.name;
      EXPECT_EQ(server_->writes > 0, std::string(row.verdict) == "landed") << row.name;
    }
  }
}

TEST_F(FittingPeerTest, APlaceOfAnotherTypeIsNoLanding) {
  for (const char* interactions : {kBatch, kNone}) {
    at(interactions);
    server_->elsewhere = "Patient/8";
    const Reply reply = post(kSession);
    EXPECT_EQ(verdict(reply), "unexpected-answer");
    EXPECT_TRUE(judge(reply, 4, false, 0).unknown);
    for (const auto& [place, one] : server_->kept) {
      EXPECT_EQ(one.content.find("Patient/8"), std::string::npos) << "nothing is about it";
    }
  }
}

TEST_F(FittingPeerTest, ASuccessThatTellsOfAFailureIsNoLanding) {
  for (const char* interactions : {kBatch, kNone}) {
    for (const char* severity : {"fatal", "error", "warning", "information"}) {
      at(interactions);
      server_->outcome = R"({"resourceType":"OperationOutcome","issue":[{"severity":")" +
                         std::string(severity) + R"(","code":"exception"}]})";
      const Reply reply = post(kSession);
      const bool failure = *severity == 'f' || *severity == 'e';
      EXPECT_EQ(verdict(reply), failure ? "unexpected-answer" : "landed") << severity;
      EXPECT_EQ(judge(reply, 4, false, 0).unknown, failure) << severity;
    }
  }
}

// The answer to one entry says nothing of the one behind it, which may have been taken.
TEST_F(FittingPeerTest, AnEntryThatFailedBehindARefusalMayBeThere) {
  for (const int second : {422, 500}) {
    at(kBatch);
    server_->answers = {{1, 422}, {2, second}};
    const Reply reply = post(bundle(entry("a", "") + "," + entry("b", "")));
    EXPECT_EQ(verdict(reply), "refused");
    EXPECT_EQ(reply.resent, second == 500) << "so that it counts as perhaps taken";
  }
}

TEST_F(FittingPeerTest, ACircleHasNoOrder) {
  at(kNone);
  const Reply reply = post(bundle(entry("a", to("b")) + "," + entry("b", to("a"))));
  EXPECT_NE(verdict(reply), "landed");
  EXPECT_NE(reply.body.find("circle"), std::string::npos);
  EXPECT_EQ(server_->writes, 0);
}

TEST_F(FittingPeerTest, AnUpdateNamesItsVersion) {
  at(kNone);
  server_->kept["Observation/3"] = {2, "a", "{}"};
  const std::string update =
      R"({"fullUrl":"urn:a","resource":{"resourceType":"Observation","id":"3"},)"
      R"("request":{"method":"PUT","url":"Observation/3","ifMatch":"W/\"VERSION\""}})";
  std::string right = bundle(update);
  right.replace(right.find("VERSION"), 7, "2");
  std::string stale = bundle(update);
  stale.replace(stale.find("VERSION"), 7, "1");
  EXPECT_EQ(verdict(post(stale)), "version-conflict");
  EXPECT_EQ(judge(post(right), 1, false, 0).action, Verdict::Action::kLanded);
  EXPECT_EQ(server_->kept["Observation/3"].version, 3);
}

TEST_F(FittingPeerTest, WhereACreateFoundSomethingIsAskedWhenTheServerDoesNotSay) {
  at(kBatch);
  server_->locations = false;
  const Reply reply = post(kSession);
  EXPECT_EQ(verdict(reply), "landed");
  for (const LandedEntry& row : judge(reply, 4, false, 0).landing) {
    EXPECT_NE(row.location, "");
  }
}

TEST_F(FittingPeerTest, ALocationThatNamesNothingCountsAsNotSaid) {
  for (const char* abilities : {kBatch, kNone}) {
    at(abilities);
    server_->elsewhere = "Robin Sample, 1958-01-02";
    const Reply reply = post(kSession);
    EXPECT_EQ(verdict(reply), "landed");
    EXPECT_EQ(reply.body.find("Sample"), std::string::npos) << reply.body;
    for (const LandedEntry& row : judge(reply, 4, false, 0).landing) {
      EXPECT_NE(row.location, "");
    }
  }
}

// A correction at a server that names no versions; HTTP asks for a place with 201 only.
const std::string kCorrection =
    bundle(R"({"fullUrl":"urn:a","resource":{"resourceType":"Observation"},)"
           R"("request":{"method":"PUT","url":"Observation?identifier=s|a"}},)" +
           entry("b", to("a")));

TEST_F(FittingPeerTest, WhereAnUpdateWroteIsAskedBeforeAnythingRefersToIt) {
  for (const char* abilities : {kBatch, kNone}) {
    at(abilities);
    server_->locations = false;
    server_->kept["Observation/3"] = {1, "a", "{}"};
    const Reply reply = post(kCorrection);
    const Verdict verdict = judge(reply, 2, false, 0);
    ASSERT_EQ(verdict.action, Verdict::Action::kLanded) << reply.body;
    EXPECT_EQ(verdict.landing[0].location, "Observation/3");
    EXPECT_EQ(server_->kept["Observation/3"].version, 2);
    EXPECT_NE(
        server_->kept[verdict.landing[1].location].content.find(R"("reference":"Observation/3")"),
        std::string::npos);
  }
}

TEST_F(FittingPeerTest, NothingRefersToWhatNobodyKnowsThePlaceOf) {
  const std::string create = R"({"fullUrl":"urn:a","resource":{"resourceType":"Observation"},)"
                             R"("request":{"method":"POST","url":"Observation"}},)";
  for (const char* abilities : {kBatch, kNone}) {
    for (const std::string& body : {kCorrection, bundle(create + entry("b", to("a")))}) {
      at(abilities);
      server_->locations = false;
      server_->kept["Observation/3"] = {1, "a", "{}"};
      server_->kept["Observation/4"] = {1, "a", "{}"};
      const Verdict verdict = judge(post(body), 2, false, 0);
      EXPECT_EQ(verdict.reason, "unexpected-answer");
      EXPECT_TRUE(verdict.unknown);
      EXPECT_EQ(server_->writes, 1) << "what refers to it is not written";
    }
  }
}

TEST_F(FittingPeerTest, AServerThatIsAwayGotNothing) {
  at(kBatch);
  server_->metadata = 503;
  EXPECT_EQ(verdict(post(kSession)), "unavailable");
  EXPECT_EQ(server_->log, "GET /metadata; ");
  server_->metadata = 404;
  EXPECT_EQ(verdict(post(kSession)), "refused") << "without a statement it is sent as it is";
  server_->metadata = 200;
  peer_->call(Call("GET", "/metadata", "", ""), [](const Reply&) {});
  EXPECT_EQ(verdict(post(kSession)), "landed") << "a statement that comes later counts";
}

TEST(Mode, IsWhatTheStatementOffers) {
  struct Row {
    const char* statement;
    Mode mode;
  };
  static constexpr Row kRows[] = {
      {R"({"rest":[{"mode":"server","interaction":[{"code":"batch"},{"code":"transaction"}]}]})",
       Mode::kTransaction},
      {R"({"rest":[{"mode":"server","interaction":[{"code":"batch"}]}]})", Mode::kBatch},
      {R"({"rest":[{"mode":"server"}]})", Mode::kSingle},
      {R"({"rest":[{"mode":"client","interaction":[{"code":"batch"}]},{"mode":"server"}]})",
       Mode::kSingle},
      {R"({"rest":[{"mode":"server","interaction":["batch",7]}]})", Mode::kSingle},
      {R"({"rest":{}})", Mode::kTransaction},
      {"{}", Mode::kTransaction},
  };
  const json::NameTable names;
  for (const Row& row : kRows) {
    Document document(names);
    ASSERT_TRUE(document.parse(row.statement));
    EXPECT_EQ(mode_of(*document.root()), row.mode) << row.statement;
  }
}

}  // namespace
}  // namespace engine::delivery

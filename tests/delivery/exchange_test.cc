// What is done when something else is on the record server than was sent there: a courier on a
// journal in memory, against a server that keeps versions and that others write to.

#include <algorithm>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/delivery/unknown_people.h"
#include "tests/delivery/keeping_world.h"

namespace engine::delivery {
namespace {

class Fresh final : public ExchangeTest {
 public:
  using ExchangeTest::leg;
  using ExchangeTest::part;
  using ExchangeTest::send;
  using ExchangeTest::server_;
  using ExchangeTest::state;
  using ExchangeTest::world_;

 private:
  void TestBody() override {}
};

TEST_F(ExchangeTest, ACorrectionWritesOverTheVersionThatLanded) {
  send(1, entry("a", "1", false));
  send(2, entry("a", "2", true));
  EXPECT_EQ(state(2), "landed");
  EXPECT_EQ(server_.kept["Observation/a"].version, 2);
  EXPECT_EQ(part(2, "landing"), R"([{"location":"Observation/a/_history/2"}])");
  EXPECT_EQ(server_.log, "GET/Observation/ POST ") << "nothing is asked that need not be";
}

// Places and versions are of one server as it was: on another one, or on one that was brought back
// from its backup, others have the place, in the same version.
TEST_F(ExchangeTest, WhatIsAtItsPlaceNowIsNotWrittenOver) {
  struct Row {
    const char* name;
    void (*happened)(KeepingServer&);
    std::string state;
    std::string place;     // where the correction is, when it landed
    std::string conflict;  // otherwise
  };
  const Row table[] = {
      {"brought along",
       [](KeepingServer& server) { server.move("Observation/a", "Observation/n"); }, "landed",
       "Observation/n", ""},
      {"to a free place",
       [](KeepingServer& server) {
         server.move("Observation/a", "Observation/n");
         server.kept.erase("Observation/a");
       },
       "landed", "Observation/n", ""},
      {"and changed there",
       [](KeepingServer& server) {
         server.move("Observation/a", "Observation/n");
         server.edit("Observation/n",
                     R"({"resourceType":"Observation","identifier":[{"value":"a"}],"value":"x"})");
       },
       "held changed-elsewhere", "", R"("resource":"Observation/n","found":"W/\"2\""})"},
      {"left behind",
       [](KeepingServer& server) {
         server.move("Observation/a", "Observation/n");
         server.kept.erase("Observation/n");
       },
       "held changed-elsewhere", "",
       R"("resource":"Observation/a","expected":"W/\"1\"","gone":true})"},
  };
  for (const Row& row : table) {
    for (const bool lost : {false, true}) {  // the answer to the correction
      Fresh fresh;
      fresh.send(1, entry("a", "1", false) + "," + entry("b", "1", false));
      row.happened(fresh.server_);
      const std::string there = fresh.server_.kept["Observation/a"].content;
      fresh.server_.lose_answers = lost ? 1 : 0;
      fresh.send(2, entry("a", "2", true) + "," + entry("b", "2", true));
      EXPECT_EQ(fresh.state(2), row.state) << row.name;
      EXPECT_EQ(fresh.server_.kept["Observation/a"].content, there) << row.name;
      EXPECT_NE(fresh.part(2, "conflict").find(row.conflict), std::string::npos)
          << row.name << fresh.part(2, "conflict");
      if (!row.place.empty()) {
        EXPECT_NE(fresh.part(2, "landing").find(row.place), std::string::npos) << row.name;
        EXPECT_EQ(fresh.server_.kept[row.place].version, 2) << row.name;
      }
    }
  }
}

TEST_F(ExchangeTest, WhatWasLeftBehindIsMadeAnewWhenAPersonSaysSo) {
  send(1, entry("a", "1", false));
  server_.move("Observation/a", "Observation/n");
  server_.kept.erase("Observation/n");
  const std::string there = server_.kept["Observation/a"].content;
  send(2, entry("a", "2", true));
  ASSERT_EQ(state(2), "held changed-elsewhere");
  steer(2, journal::Kind::kReleased);
  EXPECT_EQ(state(2), "landed");
  EXPECT_EQ(server_.kept["Observation/a"].content, there);
  EXPECT_EQ(server_.kept["Observation/a-anew"].version, 1);
}

// What a person saw is of the server as it was then, too.
TEST_F(ExchangeTest, AReleaseIsForTheResourceThatWasShown) {
  send(1, entry("a", "1", false));
  server_.edit("Observation/a", R"({"resourceType":"Observation","value":"theirs"})");
  send(2, entry("a", "2", true));
  ASSERT_EQ(state(2), "held changed-elsewhere");
  server_.move("Observation/a", "Observation/n");
  const std::string there = server_.kept["Observation/a"].content;
  steer(2, journal::Kind::kReleased);
  EXPECT_EQ(state(2), "held changed-elsewhere");
  EXPECT_EQ(server_.kept["Observation/a"].content, there);
}

// A taking back is such a correction; a server that shows nothing proves nothing.
TEST_F(ExchangeTest, WhatCannotBeSeenIsWrittenOverOnlyWhenAPersonSaysSo) {
  send(1, entry("a", "1", false));
  server_.readable = false;
  send(2, entry("a", "2", true));
  EXPECT_EQ(state(2), "held not-readable");
  EXPECT_EQ(server_.kept["Observation/a"].version, 1);
  EXPECT_FALSE(leg(2).uncertain);
  steer(2, journal::Kind::kReleased);
  EXPECT_EQ(state(2), "landed");
  EXPECT_EQ(server_.kept["Observation/a"].version, 2);
  send(3, entry("a", "3", true));
  EXPECT_EQ(state(3), "held not-readable") << "that was for the second one";
}

TEST_F(ExchangeTest, AnEditByOthersIsHeldAndReleasedKnowingly) {
  send(1, entry("a", "1", false));
  server_.edit("Observation/a", R"({"resourceType":"Observation","value":"theirs"})");
  send(2, entry("a", "2", true));
  EXPECT_EQ(state(2), "held changed-elsewhere");
  EXPECT_NE(server_.kept["Observation/a"].content.find("theirs"), std::string::npos);
  EXPECT_EQ(part(2, "conflict"),
            R"([{"fullUrl":"urn:a","resource":"Observation/a","expected":"W/\"1\"",)"
            R"("found":"W/\"2\""}])");
  EXPECT_NE(part(2, "outcome").find("Observation/a was changed"), std::string::npos);
  EXPECT_FALSE(leg(2).uncertain);
  steer(2, journal::Kind::kReleased);
  EXPECT_EQ(state(2), "landed");
  EXPECT_EQ(server_.kept["Observation/a"].version, 3);
}

// Who treated is named all the same; a patient, a stay or anything else that is missing holds it.
TEST_F(ExchangeTest, WhoIsNotKnownThereKeepsNothingOutOfTheChart) {
  const auto by = [](const std::string& name) {
    return R"("performer":[{"identifier":{"value":")" + name +
           R"("},"reference":"Practitioner?identifier=)" + name +
           R"(","display":"R. Sample"}],"identifier")";
  };
  std::string first = entry("a", "1", false);
  first.replace(first.find("\"identifier\""), 12, by("known"));
  std::string second = entry("b", "1", false);
  second.replace(second.find("\"identifier\""), 12, by("new"));
  server_.kept = {{"Practitioner/known", {1, R"({"resourceType":"Practitioner"})"}}};
  send(1, first + "," + second);
  EXPECT_EQ(state(1), "landed");
  EXPECT_NE(server_.kept["Observation/a"].content.find("Practitioner?identifier=known"),
            std::string::npos);
  const std::string& content = server_.kept["Observation/b"].content;
  EXPECT_EQ(content.find("reference"), std::string::npos) << content;
  EXPECT_NE(content.find(R"({"identifier":{"value":"new"},"display":"R. Sample"})"),
            std::string::npos)
      << content;
  const auto head = world_.store->head(leg(1).changed);
  EXPECT_EQ(head->record.reason, kUnknownPerson);
  // What is there is what was sent: an answer that was lost makes no conflict of it.
  server_.lose_answers = 1;
  send(2, second);
  EXPECT_EQ(state(2), "landed");
}

TEST_F(ExchangeTest, WhoMayNotBeLookedForIsNamedAllTheSame) {
  std::string sent = entry("a", "1", false);
  sent.replace(sent.find("\"identifier\""), 12,
               R"("performer":[{"identifier":{"value":"new"},)"
               R"("reference":"Practitioner?identifier=new"}],"identifier")");
  server_.readable = false;
  send(1, sent);
  EXPECT_EQ(state(1), "landed");
  EXPECT_EQ(server_.kept["Observation/a"].content.find("reference"), std::string::npos);
}

TEST_F(ExchangeTest, WhatElseIsNotKnownThereHoldsIt) {
  std::string sent = entry("a", "1", false);
  sent.replace(sent.find("\"identifier\""), 12,
               R"("subject":{"reference":"Practitioner?identifier=nobody"},"identifier")");
  send(1, sent);
  EXPECT_EQ(state(1), "held unknown-reference");
  EXPECT_TRUE(server_.kept.empty());
}

// The answer was lost, and somebody has put it onto another chart since; or the server had.
TEST_F(ExchangeTest, WhatHangsOnAnotherPatientsChartIsNotAsSent) {
  const auto about = [](const std::string& reference) {
    return R"("subject":{"reference":")" + reference + R"("},"identifier")";
  };
  std::string sent = entry("a", "1", false);
  sent.replace(sent.find("\"identifier\""), 12, about("Patient?identifier=p"));
  for (const bool moved : {false, true}) {
    Fresh fresh;
    fresh.server_.kept = {{"Patient/p", {1, R"({"resourceType":"Patient"})"}}};
    fresh.server_.edit("Observation/a", R"({"resourceType":"Observation",)" +
                                            about(moved ? "Patient/other" : "Patient/p") +
                                            R"(:[{"value":"a"}],"value":"1"})");
    fresh.send(1, sent);
    EXPECT_EQ(fresh.state(1), moved ? "held changed-elsewhere" : "landed");
    EXPECT_NE(fresh.server_.log.find("POST/Patient/"), std::string::npos);
  }
}

// Whose chart it is on is asked for first; a server that does not answer that loses the proof, and
// not the session, whatever it says instead.
TEST_F(ExchangeTest, AServerThatDoesNotLetUsLookForPeopleHoldsNothing) {
  std::string sent = entry("a", "1", false);
  sent.replace(sent.find("\"identifier\""), 12,
               R"("subject":{"reference":"Patient?identifier=p"},"identifier")");
  for (const int status : {200, 401, 403, 410, 422, 500}) {
    Fresh fresh;
    fresh.server_.lose_answers = 1;
    fresh.world_.peer.answer = [&fresh, status](const Call& call) {
      const bool any = (status == 410 || status == 422) && call.path.ends_with("/_search");
      if (call.path != "/Patient/_search" && !any) {
        return fresh.server_.answer(call);
      }
      Reply reply = StillPeer::status(status);
      reply.body = R"({"resourceType":"OperationOutcome","issue":[{"severity":"error",)"
                   R"("code":"not-supported"}]})";
      return reply;
    };
    fresh.server_.edit("Observation/a",
                       R"({"resourceType":"Observation","subject":{"reference":"Patient/p"},)"
                       R"("identifier":[{"value":"a"}],"value":"1"})");
    fresh.send(1, sent);
    EXPECT_EQ(fresh.state(1), "landed") << status;
    EXPECT_EQ(fresh.server_.kept["Observation/a"].version, 1) << status;
  }
}

TEST_F(ExchangeTest, WhoIsNamedByIdentifierIsNotLookedForToCompare) {
  const auto about = [](const std::string& reference, const std::string& name) {
    return R"("performer":[{"identifier":{"value":")" + name + R"("},"reference":")" + reference +
           R"("}],"identifier")";
  };
  std::string sent = entry("a", "1", false);
  sent.replace(sent.find("\"identifier\""), 12, about("Practitioner?identifier=t", "t"));
  for (const char* name : {"t", "u"}) {
    Fresh fresh;
    fresh.server_.kept = {{"Practitioner/t", {1, R"({"resourceType":"Practitioner"})"}}};
    fresh.server_.edit("Observation/a", R"({"resourceType":"Observation",)" +
                                            about("Practitioner/t", name) +
                                            R"(:[{"value":"a"}],"value":"1"})");
    fresh.send(1, sent);
    EXPECT_EQ(fresh.state(1), name[0] == 't' ? "landed" : "held changed-elsewhere");
    EXPECT_EQ(fresh.server_.log.find("POST/Practitioner/"), std::string::npos);
  }
}

// As after an answer too many on a connection: each answer is to the message before.
TEST_F(ExchangeTest, ALandingOfOtherThingsIsNone) {
  struct Row {
    const char* name;
    std::string entries;
    std::string locations;
    std::string state;
  };
  const auto place = [](const std::string& location) {
    return R"({"response":{"status":"201 Created","location":")" + location + "\"}}";
  };
  const std::string two = entry("a", "1", false) + "," + provenance("p");
  const Row table[] = {
      {"theirs", two, place("Observation/7/_history/1") + "," + place("Provenance/p"), "landed"},
      {"nowhere", two, place("") + "," + place("not a place"), "landed"},
      {"another type", two, place("Patient/7/_history/1") + "," + place("Provenance/p"),
       "held unexpected-answer"},
      {"one place for two", two + "," + entry("b", "1", false),
       place("Observation/7/_history/1") + "," + place("Provenance/p") + "," +
           place("Observation/7/_history/1"),
       "held unexpected-answer"},
      {"another id", two, place("Observation/7") + "," + place("Provenance/q"),
       "held unexpected-answer"},
  };
  for (const Row& row : table) {
    Fresh fresh;
    fresh.world_.peer.answer = [&row](const Call& call) {
      Reply reply = StillPeer::status(200);
      reply.body = call.path == "/metadata"
                       ? ""
                       : R"({"resourceType":"Bundle","type":"transaction-response","entry":[)" +
                             row.locations + "]}";
      return reply;
    };
    fresh.send(1, row.entries);
    EXPECT_EQ(fresh.state(1), row.state) << row.name;
    EXPECT_EQ(fresh.leg(1).uncertain, row.state != "landed") << row.name;
  }
}

// A server may refuse a transaction without entries.
TEST_F(ExchangeTest, ABundleWithoutEntriesIsNotSent) {
  std::vector<std::string> asked;
  world_.peer.answer = [this, &asked](const Call& call) {
    asked.push_back(call.method + " " + call.path);
    return server_.answer(call);
  };
  send(1, " ");  // a bundle, of a blank between the brackets
  EXPECT_EQ(state(1), "landed");
  EXPECT_EQ(std::count(asked.begin(), asked.end(), "POST "), 0);
  send(2, entry("a", "2", false));
  EXPECT_EQ(state(2), "landed");
  EXPECT_EQ(std::count(asked.begin(), asked.end(), "POST "), 1);
}

// Each would be written over the other by the next revision.
TEST_F(ExchangeTest, AnEntryDoesNotLandWhereAnotherOfTheSessionIs) {
  send(1, entry("a", "1", false));
  world_.peer.answer = [this](const Call& call) {
    Reply reply = server_.answer(call);
    if (const auto at = reply.body.find("Observation/b/"); at != std::string::npos) {
      reply.body[at + 12] = 'a';
    }
    return reply;
  };
  send(2, entry("b", "2", false));
  EXPECT_EQ(state(2), "held unexpected-answer");
  EXPECT_TRUE(leg(2).uncertain);
}

// As engines before this one took it.
TEST_F(ExchangeTest, APlaceThatTwoLandingsNameIsThatOfNeither) {
  for (const char* const name : {"a", "b"}) {
    const std::uint32_t revision = *name == 'a' ? 1 : 2;
    journal::Record record;
    record.kind = journal::Kind::kAccepted;
    record.session = "s";
    record.revision = revision;
    record.targets = "main";
    record.content = name;
    world_.write(journal::Change(record));
    record.targets.clear();
    record.content.clear();
    record.target = "main";
    using Parts = std::vector<journal::Part>;
    const std::string bundle = R"({"resourceType":"Bundle","type":"transaction","entry":[)" +
                               entry(name, "1", false) + "]}";
    const std::pair<journal::Kind, Parts> steps[] = {
        {journal::Kind::kChecked, Parts{{"bundle", bundle}}},
        {journal::Kind::kDispatched, {}},
        {journal::Kind::kLanded,
         Parts{{"landing", R"([{"location":"Observation/7/_history/1","etag":"W/\"1\""}])"}}}};
    for (const auto& [kind, parts] : steps) {
      record.kind = kind;
      journal::Change change(record);
      for (const journal::Part& one : parts) {
        change.parts.push_back(journal::to_stored(one));
      }
      world_.write(std::move(change));
    }
    EXPECT_EQ(state(revision), "landed");
  }
  std::string sent;
  world_.peer.answer = [this, &sent](const Call& call) {
    sent += call.method == "POST" ? call.body : "";
    return server_.answer(call);
  };
  send(3, entry("a", "3", true) + "," + entry("b", "3", true));
  EXPECT_EQ(sent.find("Observation/7"), std::string::npos) << sent;
  EXPECT_NE(sent.find(R"("method":"PUT","url":"Observation?identifier=a"})"), std::string::npos);
  EXPECT_NE(sent.find(R"("method":"PUT","url":"Observation?identifier=b"})"), std::string::npos);
}

TEST_F(ExchangeTest, AReleaseIsForTheVersionThatWasShown) {
  send(1, entry("a", "1", false));
  server_.edit("Observation/a", R"({"resourceType":"Observation","value":"theirs"})");
  send(2, entry("a", "2", true));
  server_.edit("Observation/a", R"({"resourceType":"Observation","value":"theirs again"})");
  steer(2, journal::Kind::kReleased);
  EXPECT_EQ(state(2), "held changed-elsewhere");
  EXPECT_NE(server_.kept["Observation/a"].content.find("again"), std::string::npos);
  steer(2, journal::Kind::kWithdrawn);
  EXPECT_EQ(leg(2).state, journal::LegState::kWithdrawn);
  // Withdrawn is no consent: the next revision meets the same.
  send(3, entry("a", "3", true));
  EXPECT_EQ(state(3), "held changed-elsewhere");
}

TEST_F(ExchangeTest, WhatOneReleaseWasForStaysSoWhenAnotherIsNeeded) {
  send(1, entry("a", "1", false) + "," + entry("b", "1", false));
  server_.edit("Observation/a", R"({"resourceType":"Observation","value":"theirs"})");
  send(2, entry("a", "2", true) + "," + entry("b", "2", true));
  server_.edit("Observation/b", R"({"resourceType":"Observation","value":"theirs"})");
  steer(2, journal::Kind::kReleased);
  EXPECT_EQ(state(2), "held changed-elsewhere");
  EXPECT_EQ(part(2, "conflict").find("Observation/a"), std::string::npos);
  steer(2, journal::Kind::kReleased);
  EXPECT_EQ(state(2), "landed");
}

TEST_F(ExchangeTest, ADeletionByOthersIsAnEditByOthers) {
  send(1, entry("a", "1", false));
  server_.edit("Observation/a", "");
  send(2, entry("a", "2", true) + "," + entry("b", "2", true));
  EXPECT_EQ(state(2), "held changed-elsewhere");
  EXPECT_NE(part(2, "conflict").find(R"("gone":true)"), std::string::npos);
  EXPECT_EQ(server_.kept.count("Observation/b"), 0U);
  steer(2, journal::Kind::kReleased);
  EXPECT_EQ(state(2), "landed");
  EXPECT_NE(server_.kept["Observation/a"].content.find("\"2\""), std::string::npos);
}

TEST_F(ExchangeTest, AnUpdateWhoseAnswerWasLostIsKnownByItsContent) {
  send(1, entry("a", "1", false));
  server_.lose_answers = 1;
  send(2, entry("a", "2", true) + "," + provenance("p"));
  EXPECT_EQ(state(2), "landed");
  EXPECT_EQ(server_.kept["Observation/a"].version, 2) << "written once";
  EXPECT_EQ(server_.kept["Provenance/p"].version, 1) << "written once";
}

TEST_F(ExchangeTest, ACreateThatFindsAnEditSaysSoAndTheNextRevisionIsHeld) {
  server_.lose_answers = 1;
  world_.peer.answer = [this](const Call& call) {
    Reply reply = server_.answer(call);
    if (reply.fate == Reply::Fate::kNoAnswer) {
      server_.edit("Observation/a", R"({"resourceType":"Observation","value":"theirs"})");
    }
    return reply;
  };
  send(1, entry("a", "1", false));
  EXPECT_EQ(state(1), "landed");
  EXPECT_NE(part(1, "landing").find(R"("unproven":true)"), std::string::npos);
  EXPECT_NE(part(1, "conflict").find(R"("found":"W/\"2\"")"), std::string::npos);
  EXPECT_NE(world_.store->head_text(leg(1).changed)->find("reason changed-since"),
            std::string::npos);
  send(2, entry("a", "2", true));
  EXPECT_EQ(state(2), "held changed-elsewhere");
  EXPECT_NE(server_.kept["Observation/a"].content.find("theirs"), std::string::npos);
  steer(2, journal::Kind::kReleased);
  EXPECT_EQ(state(2), "landed");
}

// It found something, and does not say where.
TEST_F(ExchangeTest, ACreateThatFindsSomethingAndNamesNoPlaceIsLookedForByItsIdentifier) {
  server_.names_places = false;
  server_.edit("Observation/a", R"({"resourceType":"Observation","value":"theirs"})");
  send(1, entry("a", "1", false) + "," + entry("b", "1", false));
  EXPECT_EQ(state(1), "held changed-elsewhere");
  EXPECT_TRUE(leg(1).uncertain);
  EXPECT_EQ(part(1, "conflict"),
            R"([{"fullUrl":"urn:a","resource":"Observation/a","found":"W/\"1\""}])");
  steer(1, journal::Kind::kReleased);
  EXPECT_EQ(state(1), "landed");
  EXPECT_EQ(server_.kept["Observation/a"].version, 2);
  EXPECT_EQ(server_.kept["Observation/b"].version, 1);
}

TEST_F(ExchangeTest, WhatIsOursWhereNoPlaceWasNamedIsWrittenOverByItsVersion) {
  server_.names_places = false;
  server_.always_200 = true;
  send(1, entry("a", "1", false));
  EXPECT_EQ(state(1), "landed");
  EXPECT_EQ(part(1, "landing"), R"([{"location":"Observation/a","etag":"W/\"1\""}])");
  server_.edit("Observation/a", R"({"resourceType":"Observation","value":"theirs"})");
  send(2, entry("a", "2", true));
  EXPECT_EQ(state(2), "held changed-elsewhere");
}

// A search may lag behind what was written, or find nothing at all.
TEST_F(ExchangeTest, WhatNoSearchFoundIsLookedForBeforeItIsWrittenOver) {
  for (const bool edited : {false, true}) {
    server_.names_places = false;
    server_.always_200 = true;
    server_.finds = false;
    const std::string name = edited ? "a" : "b";
    const std::uint32_t revision = edited ? 3 : 1;
    send(revision, entry(name, "1", false));
    EXPECT_EQ(state(revision), "landed");
    EXPECT_EQ(part(revision, "landing"), R"([{"unproven":true}])");
    server_.finds = true;
    if (edited) {
      server_.edit("Observation/a", R"({"resourceType":"Observation","value":"theirs"})");
    }
    send(revision + 1, entry(name, "2", true));
    EXPECT_EQ(state(revision + 1), edited ? "held changed-elsewhere" : "landed");
    EXPECT_EQ(server_.kept["Observation/" + name].version, 2);
  }
  steer(4, journal::Kind::kReleased);
  EXPECT_EQ(state(4), "landed");
  EXPECT_EQ(server_.kept["Observation/a"].version, 3);
}

TEST_F(ExchangeTest, ANewResourceOfALaterRevisionDoesNotOverwrite) {
  send(1, entry("a", "1", false));
  server_.edit("Observation/b", R"({"resourceType":"Observation","value":"theirs"})");
  send(2, entry("b", "2", true));
  EXPECT_EQ(state(2), "held changed-elsewhere");
  EXPECT_TRUE(leg(2).uncertain);
  EXPECT_NE(server_.kept["Observation/b"].content.find("theirs"), std::string::npos);
  steer(2, journal::Kind::kReleased);
  EXPECT_EQ(state(2), "landed");
  EXPECT_NE(server_.kept["Observation/b"].content.find("\"2\""), std::string::npos);
}

TEST_F(ExchangeTest, ACreateWhoseAnswerWasLostLandsOnce) {
  server_.lose_answers = 2;
  send(1, entry("a", "1", false) + "," + entry("b", "1", false));
  EXPECT_EQ(state(1), "landed");
  EXPECT_EQ(part(1, "landing"), R"([{"location":"Observation/a","etag":"W/\"1\""},)"
                                R"({"location":"Observation/b","etag":"W/\"1\""}])");
  EXPECT_EQ(server_.kept["Observation/a"].version, 1);
}

// Whatever came of the second try says nothing of the first.
TEST_F(ExchangeTest, ARefusalOfWhatWasSentTwiceLeavesItOpenWhetherItLanded) {
  world_.peer.answer = [](const Call& call) {
    Reply reply = StillPeer::status(call.method == "GET" ? 200 : 422);
    reply.resent = call.method == "POST";
    return reply;
  };
  send(1, entry("a", "1", false));
  EXPECT_EQ(state(1), "held refused");
  EXPECT_TRUE(leg(1).uncertain);
  send(2, entry("a", "2", false));
  EXPECT_EQ(state(1), "held refused") << "not given up for the later one";
}

TEST_F(ExchangeTest, ADeletionBeforeTheAnswerIsKnownShowsInWhatIsLeft) {
  server_.lose_answers = 1;
  world_.peer.answer = [this](const Call& call) {
    Reply reply = server_.answer(call);
    if (reply.fate == Reply::Fate::kNoAnswer) {
      server_.edit("Observation/b", "");
    }
    return reply;
  };
  send(1, entry("a", "1", false) + "," + entry("b", "1", false));
  EXPECT_EQ(state(1), "held changed-elsewhere");
  EXPECT_EQ(part(1, "conflict"),
            R"([{"fullUrl":"urn:b","resource":"Observation?identifier=b","gone":true}])");
  EXPECT_EQ(server_.kept["Observation/b"].version, 2);
  steer(1, journal::Kind::kReleased);
  EXPECT_EQ(state(1), "landed");
  EXPECT_EQ(server_.kept["Observation/b"].version, 3);
}

TEST_F(ExchangeTest, WhatMayNotBeReadIsNotTakenForOurs) {
  server_.lose_answers = 1;
  server_.readable = false;
  send(1, entry("a", "1", false));
  EXPECT_EQ(state(1), "landed");
  EXPECT_NE(part(1, "landing").find(R"("unproven":true)"), std::string::npos);
  send(2, entry("a", "2", true));
  EXPECT_EQ(state(2), "held changed-elsewhere");
  server_.readable = true;
  steer(2, journal::Kind::kReleased);
  EXPECT_EQ(state(2), "landed");
}

TEST_F(ExchangeTest, ALookThatFailsIsTakenUpAgain) {
  send(1, entry("a", "1", false));
  server_.edit("Observation/a", R"({"resourceType":"Observation","value":"theirs"})");
  int failures = 3;
  world_.peer.answer = [this, &failures](const Call& call) {
    const bool look = call.method == "GET" && call.path != "/metadata";
    return look && failures-- > 0 ? StillPeer::status(503) : server_.answer(call);
  };
  send(2, entry("a", "2", true));
  EXPECT_EQ(state(2), "held changed-elsewhere");
  EXPECT_LT(failures, 1);
}

TEST_F(ExchangeTest, WhatWasGivenUpInDoubtIsNotTakenForThisRevision) {
  server_.lose_answers = 1'000;
  send(1, entry("a", "1", false));
  world_.loop.run_until(world_.clock.ms + 3'600'000);
  ASSERT_TRUE(leg(1).uncertain);
  steer(1, journal::Kind::kWithdrawn);
  server_.lose_answers = 1;
  send(2, entry("a", "2", false) + "," + entry("b", "2", false));
  EXPECT_EQ(state(2), "landed");
  // Found as the first one sent it, so that it is ours; the second is written over that
  // version.
  EXPECT_NE(server_.kept["Observation/a"].content.find(R"("value":"2")"), std::string::npos);
  EXPECT_EQ(server_.kept["Observation/a"].version, 2);
  EXPECT_EQ(server_.kept["Observation/b"].version, 1);
}

TEST_F(ExchangeTest, WhatIsNeitherOfThisRevisionNorOfTheOneGivenUpIsForAPerson) {
  server_.lose_answers = 1'000;
  send(1, entry("a", "1", false));
  world_.loop.run_until(world_.clock.ms + 3'600'000);
  steer(1, journal::Kind::kWithdrawn);
  server_.lose_answers = 0;
  server_.edit("Observation/a", R"({"resourceType":"Observation","value":"theirs"})");
  send(2, entry("a", "2", true));
  EXPECT_EQ(state(2), "held changed-elsewhere");
  EXPECT_EQ(server_.kept["Observation/a"].version, 2);
}

// Writes are answered without a version, reads with one.
TEST_F(ExchangeTest, WhatLandedWithoutAVersionIsKnownByItsContent) {
  server_.names_versions = false;
  send(1, entry("a", "1", false) + "," + entry("b", "1", false));
  world_.peer.answer = [this](const Call& call) {
    Reply page = StillPeer::status(200);
    page.body = "<html>";
    return call.method == "POST" && call.path.empty() ? page : server_.answer(call);
  };
  send(2, entry("a", "2", true) + "," + entry("b", "2", true));
  EXPECT_EQ(state(2), "held html-answer");
  steer(2, journal::Kind::kWithdrawn);
  world_.peer.answer = [this](const Call& call) { return server_.answer(call); };
  send(3, entry("a", "3", true));
  EXPECT_EQ(state(3), "landed");
  EXPECT_NE(server_.kept["Observation/a"].content.find("\"3\""), std::string::npos);
  server_.edit("Observation/b", R"({"resourceType":"Observation","value":"theirs"})");
  send(4, entry("b", "4", true));
  EXPECT_EQ(state(4), "held changed-elsewhere") << "nor was it written over by content alone";
}

}  // namespace
}  // namespace engine::delivery

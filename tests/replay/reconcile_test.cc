// Reconciling without a network: what a location names, and what an answer proves.

#include "engine/replay/reconcile.h"

#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/delivery/location.h"
#include "engine/journal/sqlite_store.h"
#include "tests/journal/fixture.h"

namespace engine::replay {
namespace {

using delivery::Reply;
using journal::Change;
using journal::Kind;

TEST(Reconcile, ReadsLocationsAsServersWriteThem) {
  EXPECT_EQ(delivery::resource_of("Observation/17/_history/3"), "Observation/17");
  EXPECT_EQ(delivery::resource_of("Observation/17"), "Observation/17");
  EXPECT_EQ(delivery::resource_of("https://records.example/fhir/Procedure/a-1.b/_history/1"),
            "Procedure/a-1.b");
  for (const char* wrong :
       {"", "17", "/", "Observation/", "/17", "Observation/..", "Observation/a b",
        "Observation/17?_format=xml", "Obs-1/17", "Observation/a%2Fb",
        "Observation/aaaaaaaaaabbbbbbbbbbccccccccccddddddddddeeeeeeeeeeffffffffff12345"}) {
    EXPECT_EQ(delivery::resource_of(wrong), "") << wrong;
  }
}

class ReconcileTest : public ::testing::Test {
 protected:
  void SetUp() override {
    auto opened = journal::open_sqlite_store({folder_.file("journal"), journal::OpenMode::kEngine});
    ASSERT_TRUE(opened.has_value());
    store_ = std::move(*opened);
  }
  void land(std::uint32_t revision, const std::string& landing) {
    for (const Kind kind : {Kind::kAccepted, Kind::kChecked, Kind::kDispatched, Kind::kLanded}) {
      Change change(journal::record_of(kind, "s", revision));
      if (kind == Kind::kLanded) {
        change.parts.push_back(journal::to_stored(journal::Part("landing", landing)));
      }
      ASSERT_TRUE(journal::write(*store_, clock_, std::move(change)).has_value());
    }
  }
  // Answers every question with one status and ETag.
  base::Result<ReconcileReport> ask(int status, const std::string& etag) {
    return reconcile(*store_, {"main", "", ""}, [&](const std::string& path) {
      asked_.push_back(path);
      Reply reply;
      reply.status = status;
      if (!etag.empty()) {
        reply.headers.emplace_back("etag", etag);
      }
      return reply;
    });
  }

  journal::TemporaryFolder folder_;
  journal::SetClock clock_;
  std::unique_ptr<journal::Store> store_;
  std::vector<std::string> asked_;
};

TEST_F(ReconcileTest, TheLatestLandingOfAResourceCounts) {
  land(1, R"([{"location":"Observation/1/_history/1","etag":"W/\"1\""},{}])");
  land(2, R"([{"location":"Observation/1/_history/2","etag":"W/\"2\""}])");
  const auto report = ask(200, "W/\"2\"");
  ASSERT_TRUE(report.has_value());
  EXPECT_EQ(asked_, std::vector<std::string>{"/Observation/1"});
  EXPECT_EQ(report->same, 1U);
  EXPECT_EQ(report->drifted, 0U);
  EXPECT_EQ(report->unnamed, 1U);
}

TEST_F(ReconcileTest, TellsGoneFromChangedFromUnknown) {
  land(1, R"([{"location":"Observation/1/_history/1","etag":"W/\"1\""}])");
  const auto kind_of = [this](int status, const std::string& etag) {
    const auto report = ask(status, etag);
    return report && report->drifts.size() == 1 ? report->drifts[0].kind : Drift::Kind(99);
  };
  EXPECT_EQ(kind_of(404, ""), Drift::Kind::kGone);
  EXPECT_EQ(kind_of(410, ""), Drift::Kind::kGone);
  EXPECT_EQ(kind_of(200, "W/\"2\""), Drift::Kind::kChanged);
  EXPECT_EQ(kind_of(200, ""), Drift::Kind::kUnknown);
  EXPECT_EQ(kind_of(500, ""), Drift::Kind::kUnknown);
}

TEST_F(ReconcileTest, AServerThatLetsNobodyReadProvesNothing) {
  land(1, R"([{"location":"Observation/1/_history/1","etag":"W/\"1\""}])");
  for (const int status : {401, 403}) {
    const auto report = ask(status, "");
    ASSERT_FALSE(report.has_value());
    EXPECT_EQ(report.error().code, base::ErrorCode::kPeer);
  }
}

}  // namespace
}  // namespace engine::replay

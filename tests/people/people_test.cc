#include "engine/people/people.h"

#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/base/hash.h"
#include "engine/base/limits.h"
#include "engine/people/roles.h"
#include "engine/people/secrets.h"

namespace engine::people {
namespace {

namespace limits = base::limits;

// "password" with the salt "somesalt", two passes over 64 MiB, one lane: test vector of the Argon2
// reference implementation (src/test.c, Argon2id version 19).
constexpr const char* kPublished =
    "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc";

std::string digits(char c) {
  return std::string(64, c);
}

std::string file_of(const std::string& lines) {
  return "chartferry-people 1\n" + lines;
}

TEST(Roles, MayWhatTheTableOfTheDecisionSays) {
  struct Row {
    Right right;
    std::string roles;  // who may
  };
  const Row table[] = {
      {Right::kSend, "therapist,sender"},
      {Right::kPreview, "therapist,engineer,sender"},
      {Right::kFollow, "therapist,engineer,auditor,operator,sender,watcher"},
      {Right::kTraffic, "therapist,engineer,auditor,operator,watcher"},
      {Right::kReadWard, "therapist"},
      {Right::kReadRecord, "therapist,auditor"},
      {Right::kReadMessage, "therapist,engineer,auditor"},
      {Right::kReadLog, "auditor"},
      {Right::kAudit, "auditor"},
      {Right::kSearch, "therapist,engineer,auditor,operator"},
      {Right::kHandOut, "therapist"},
      {Right::kSteer, "engineer,operator"},
      {Right::kSeeTargets, "engineer,auditor,operator,watcher"},
      {Right::kSteerTargets, "engineer,operator"},
      {Right::kSeeMapping, "engineer,auditor,operator"},
      {Right::kChangeMapping, "engineer"},
      {Right::kMetrics, "engineer,operator,watcher"},
      {Right::kOpen, "therapist,engineer,auditor,operator,sender,watcher"},
      {Right::kSelf, "therapist,engineer,auditor,operator,sender,watcher"},
  };
  for (const Row& row : table) {
    const Roles expected = *parse_roles(row.roles);
    for (const Role role :
         parse_roles("therapist,engineer,auditor,operator,sender,watcher")->list()) {
      Roles one;
      one.add(role);
      EXPECT_EQ(may(one, row.right), expected.has(role))
          << name_of(role) << " and right " << static_cast<int>(row.right);
    }
  }
  EXPECT_FALSE(may(Roles(), Right::kFollow));
}

TEST(Roles, TellTheirRightsByName) {
  std::string told;
  for (const Right right : rights_of(*parse_roles("operator,watcher"))) {
    told.append(told.empty() ? "" : ",").append(name_of(right));
  }
  EXPECT_EQ(told, "follow,traffic,search,steer,see-targets,steer-targets,see-mapping,metrics");
  EXPECT_TRUE(rights_of(Roles()).empty());
  EXPECT_EQ(roles_with(Right::kSteer), "engineer, operator");
}

TEST(Roles, NoSystemReadsPatients) {
  for (const char* text : {"sender", "watcher", "sender,watcher"}) {
    for (const Right right : {Right::kReadWard, Right::kReadRecord, Right::kReadMessage}) {
      EXPECT_TRUE(reads_patients(right));
      EXPECT_FALSE(may(*parse_roles(text), right)) << text;
    }
  }
}

TEST(Roles, AreReadAsTheyAreWritten) {
  for (const char* text : {"therapist", "therapist,auditor", "sender,watcher"}) {
    EXPECT_EQ(parse_roles(text)->text(), text);
  }
  EXPECT_EQ(parse_roles("auditor,therapist,auditor")->text(), "therapist,auditor");
  for (const char* text : {"", ",", "therapist,", "Therapist", "therapist auditor", "root"}) {
    EXPECT_FALSE(parse_roles(text).has_value()) << text;
  }
}

TEST(Secrets, ComparesByThePublishedVector) {
  EXPECT_TRUE(is_kept_password(kPublished));
  EXPECT_TRUE(is_password(kPublished, "password"));
  EXPECT_FALSE(is_password(kPublished, "passwore"));
  EXPECT_FALSE(is_password(kPublished, ""));
}

TEST(Secrets, KeepsAPasswordUnderASaltOfItsOwn) {
  const std::string password = "a brisk walk by the river";
  const auto kept = keep_password(password);
  const auto again = keep_password(password);
  ASSERT_TRUE(kept && again);
  EXPECT_NE(*kept, *again);
  EXPECT_TRUE(kept->starts_with("$argon2id$v=19$m=65536,t=3,p=1$"));
  EXPECT_TRUE(is_kept_password(*kept));
  EXPECT_TRUE(is_password(*kept, password));
  EXPECT_EQ(kept->find("river"), std::string::npos);
}

TEST(Secrets, BoundsAPassword) {
  EXPECT_FALSE(keep_password(std::string(limits::kPasswordBytesMin - 1, 'p')).has_value());
  EXPECT_TRUE(keep_password(std::string(limits::kPasswordBytesMin, 'p')).has_value());
  EXPECT_TRUE(keep_password(std::string(limits::kPasswordBytesMax, 'p')).has_value());
  EXPECT_FALSE(keep_password(std::string(limits::kPasswordBytesMax + 1, 'p')).has_value());
}

TEST(Secrets, RefusesKeptPasswordsThatWouldStopAnEngine) {
  const std::string tail = "$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc";
  for (const std::string& text : {
           std::string(),
           std::string("password"),
           std::string(kPublished).substr(0, 60),
           "$argon2i$v=19$m=65536,t=3,p=1" + tail,
           "$argon2id$v=16$m=65536,t=3,p=1" + tail,
           "$argon2id$v=19$m=1048577,t=3,p=1" + tail,
           "$argon2id$v=19$m=65536,t=11,p=1" + tail,
           "$argon2id$v=19$m=65536,t=3,p=2" + tail,
           "$argon2id$v=19$m=,t=3,p=1" + tail,
           "$argon2id$v=19$m=65536,t=3,p=1" + tail + std::string(200, 'x'),
       }) {
    EXPECT_FALSE(is_kept_password(text)) << text;
  }
}

TEST(People, PrintsWhatItReads) {
  const std::string text =
      file_of(std::string("person robin therapist,auditor ") + kPublished + " Robin Sample\n" +
              "person sam engineer - Sam Specimen-Söderström\n" +
              "system ward-charting sender sha256:" + digits('a') + " Charting of ward 3\n");
  const auto people = People::parse(text, "people");
  ASSERT_TRUE(people.has_value()) << people.error().text();
  EXPECT_EQ(people->print(), text);
  ASSERT_EQ(people->entries().size(), 3U);
  EXPECT_EQ(people->find("robin")->actor(), "Robin Sample (robin)");
  EXPECT_EQ(people->find("robi"), nullptr);
  EXPECT_EQ(people->find_system("sha256:" + digits('a'))->name, "ward-charting");
  EXPECT_EQ(people->find_system(kPublished), nullptr) << "a person is no system";
  EXPECT_EQ(People::parse(file_of(""), "people")->print(), file_of(""));
}

TEST(People, RefusesWithThePlace) {
  const std::string secret = "sha256:" + digits('a');
  struct Row {
    std::string line;
    std::string said;
  };
  const Row table[] = {
      {"", "begins with 'person' or 'system'"},
      {"# a remark", "begins with 'person' or 'system'"},
      {"person", "a person's roles are of: therapist, engineer, auditor, operator"},
      {"person robin therapist", "a line is: person|system NAME ROLES SECRET DISPLAY"},
      {"person robin therapist -", "as people know it"},
      {"person robin therapist - Robin\tSample", "as people know it"},
      {"person robin therapist - Robin \xFF", "as people know it"},
      {"person robin therapist - " + std::string(limits::kPersonDisplayBytesMax + 1, 'x'),
       "as people know it"},
      {"person Robin therapist - Robin Sample", "a name has 1 to 64 small letters"},
      {"person 1robin therapist - Robin Sample", "a name has 1 to 64 small letters"},
      {"person " + std::string(limits::kPersonNameBytesMax + 1, 'r') + " therapist - Robin Sample",
       "a name has 1 to 64 small letters"},
      {"person robin root - Robin Sample", "a person's roles are of"},
      {"person robin sender - Robin Sample", "a person's roles are of"},
      {"person robin therapist secret Robin Sample", "its Argon2id text"},
      {"person robin therapist " + secret + " Robin Sample", "its Argon2id text"},
      {"system ward therapist " + secret + " Ward", "a system's roles are of: sender, watcher"},
      {"system ward sender - Ward", "of a system's token 'sha256:'"},
      {"system ward sender sha256:" + digits('A') + " Ward", "of a system's token 'sha256:'"},
      {"system ward sender sha256:" + digits('a') + "0 Ward", "of a system's token 'sha256:'"},
      {std::string("system ward sender ") + kPublished + " Ward", "of a system's token 'sha256:'"},
      {"person first therapist - Another One", "the name is taken"},
  };
  for (const Row& row : table) {
    const auto people =
        People::parse(file_of("person first therapist - First One\n" + row.line + "\n"), "staff");
    ASSERT_FALSE(people.has_value()) << row.line;
    EXPECT_NE(people.error().text().find(row.said), std::string::npos)
        << row.line << ": " << people.error().text();
    EXPECT_EQ(people.error().where, "staff:3") << row.line;
  }
  EXPECT_FALSE(People::parse("", "staff").has_value());
  EXPECT_FALSE(People::parse("chartferry-people 2\n", "staff").has_value());
  EXPECT_FALSE(People::parse(std::string(limits::kPeopleBytesMax + 1, '\n'), "staff").has_value());
}

TEST(People, BoundsANameAndItsDisplay) {
  const auto people = People::parse(
      file_of("person " + std::string(limits::kPersonNameBytesMax, 'r') + " therapist - " +
              std::string(limits::kPersonDisplayBytesMax, 'x') + "\n"),
      "staff");
  EXPECT_TRUE(people.has_value());
}

TEST(People, HoldsSoManyAndNoMore) {
  People people;
  for (std::size_t i = 0; i < limits::kPeopleMax; ++i) {
    Entry entry;
    entry.name = "p" + std::to_string(i);
    entry.display = "One";
    entry.roles.add(Role::kTherapist);
    ASSERT_TRUE(people.add(std::move(entry)).has_value());
  }
  Entry one_more;
  one_more.name = "q";
  one_more.display = "One";
  one_more.roles.add(Role::kTherapist);
  EXPECT_EQ(people.add(one_more).error().code, base::ErrorCode::kLimit);
  EXPECT_TRUE(people.remove("p7").has_value());
  EXPECT_TRUE(people.add(one_more).has_value());
  EXPECT_EQ(people.remove("p7").error().code, base::ErrorCode::kNotFound);
}

TEST(People, ChangesASecretOnlyToWhatItCanBe) {
  auto people = People::parse(file_of("person robin therapist - Robin Sample\n"), "staff");
  ASSERT_TRUE(people.has_value());
  EXPECT_TRUE(people->set_secret("robin", kPublished).has_value());
  EXPECT_EQ(people->find("robin")->secret, kPublished);
  EXPECT_EQ(people->set_secret("robin", "in clear").error().code, base::ErrorCode::kInvalid);
  EXPECT_EQ(people->set_secret("nobody", kPublished).error().code, base::ErrorCode::kNotFound);
  EXPECT_EQ(people->find("robin")->secret, kPublished);
}

}  // namespace
}  // namespace engine::people

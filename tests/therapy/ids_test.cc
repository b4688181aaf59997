#include "engine/therapy/ids.h"

#include <gtest/gtest.h>

namespace engine::therapy {
namespace {

TEST(Ids, TheSameNamesAlwaysGiveTheSameId) {
  const auto session = session_space("https://hill.example/ids/session", "S-1");
  // Computed once with another implementation of RFC 9562 version 5 (Python's uuid module).
  EXPECT_EQ(base::to_string(session), "da17cbc2-7d10-5ea7-91ef-81163c16a539");
  EXPECT_EQ(base::to_string(entry_role_id(session, "v1", "saturation")),
            "0cf90533-959e-5e0d-824d-de256d63eb56");
}

TEST(Ids, EntryAndRoleBothDecide) {
  const auto session = session_space("s", "1");
  EXPECT_NE(entry_role_id(session, "a", "pulse"), entry_role_id(session, "b", "pulse"));
  EXPECT_NE(entry_role_id(session, "a", "pulse"), entry_role_id(session, "a", "saturation"));
  EXPECT_NE(entry_role_id(session, "a", "pulse"),
            entry_role_id(session_space("s", "2"), "a", "pulse"));
}

TEST(Ids, QueriesEscapeWhatHasAMeaningInASearch) {
  EXPECT_EQ(identifier_query("https://h.example/p", "P-7"), "identifier=https://h.example/p|P-7");
  EXPECT_EQ(identifier_query("s", "a b&c#d"), "identifier=s|a%20b%26c%23d");
  EXPECT_EQ(identifier_query("s", "a,b"), "identifier=s|a%5C%2Cb");
  EXPECT_EQ(identifier_query("s", "a|b"), "identifier=s|a%5C%7Cb");
}

}  // namespace
}  // namespace engine::therapy

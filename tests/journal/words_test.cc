#include "engine/journal/words.h"

#include <string>
#include <tuple>

#include <gtest/gtest.h>

namespace engine::journal {
namespace {

TEST(Words, TheSystemsWordStandsBehindTheName) {
  EXPECT_EQ(command_actor("Robin Sample", 1000, "robin"), "Robin Sample (command, uid 1000 robin)");
  EXPECT_EQ(command_actor("Robin Sample", 1000, ""), "Robin Sample (command, uid 1000)");
}

TEST(Words, BlankOnesSayNothing) {
  for (const char* blank : {"", " ", "   ", "\xC2\xA0", "\xE2\x80\x8B ", "\xE3\x80\x80",
                            "\xEF\xBB\xBF", "\xC2\xAD\xE2\x80\x8E\xE2\x81\xA0"}) {
    EXPECT_FALSE(says_something(blank)) << blank;
    EXPECT_FALSE(check_words("Kim", blank).has_value());
    EXPECT_FALSE(check_words(blank, "audit").has_value());
  }
  for (const char* said : {"audit", " a", "\xC3\xA9", "\xE2\x80\x94", "\xE2\x82\xAC", "1", "-"}) {
    EXPECT_TRUE(says_something(said)) << said;
    EXPECT_TRUE(check_words("Kim", said).has_value());
  }
}

TEST(Words, AnActorGoesByItsNameSignedInOrOnACommandLine) {
  const std::string forged = command_actor("Kim (command, uid 7 kim)", 1000, "robin");
  for (const auto& [actor, name, goes] : {
           std::tuple("Kim (kim)", "Kim (kim)", true),
           {"Kim (command, uid 7 kim)", "Kim", true},
           {"Kim (command, uid 7)", "Kim", true},
           {"Kim (command, uid 7 kim)", "Kim (command, uid 7 kim)", true},
           {"Kim (kim) (command, uid 0 root)", "Kim (kim)", true},
           {"Kim (kim)", "Kim", true},
           {"Kim (kim)", "kim", true},
           {"Kim (night) (kim.s-2)", "Kim (night)", true},
           {"Kim (night) (kim.s-2)", "kim.s-2", true},
           {"Kim (night) (kim)", "Kim", false},
           {"Kim (night) (kim)", "night", false},
           {"Kim (kim)", "Kim (", false},
           {"Kim (kim)", "ki", false},
           {"Kim (kim)", "", false},
           {"Kim ()", "", false},
           {"Kim (kim) (command, uid 0 root)", "Kim", false},
           {"Kim (kim) (command, uid 0 root)", "kim", false},
           {"Kim (command, uid 7 kim)", "kim", false},  // the system's account is none of ours
           {"Kim Sample", "Kim", false},
           {"Kim", "Kim Sample", false},
           {forged.c_str(), "Kim", false},  // what somebody wrote is not the system's word
           {forged.c_str(), "Kim (command, uid 7 kim)", true},
       }) {
    EXPECT_EQ(goes_by(actor, name), goes) << actor << " / " << name;
  }
}

}  // namespace
}  // namespace engine::journal

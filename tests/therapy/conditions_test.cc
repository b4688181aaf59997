// Conditions on session documents: which of them a record server is meant for.

#include "engine/therapy/conditions.h"

#include <gtest/gtest.h>

#include "tests/therapy/house.h"

namespace engine::therapy {
namespace {

using testing::house_sources;
using testing::replaced;
using testing::sample;

base::Result<std::unique_ptr<Translator>> with_conditions(const std::vector<std::string>& texts) {
  Sources sources = house_sources();
  for (const std::string& text : texts) {
    sources.conditions.push_back({"target 'far'", text});
  }
  return Translator::load(std::move(sources));
}

TEST(Conditions, AreAskedOfEachAdmittedDocument) {
  const auto translator = with_conditions({
      "therapist.identifier.where(system = 'https://hill.example/ids/staff').value = 'T-21'",
      "entry.vitals.saturation.exists(value < 94)",
      "entry.selfCare.exists()",
      "facility.where(false)",
      // Several items are neither true nor false.
      "entry.id",
  });
  ASSERT_TRUE(translator.has_value()) << translator.error().text();
  const Translator::Admission vitals = (*translator)->admit(sample("vitals"));
  ASSERT_TRUE(vitals.admitted);
  const std::vector<Meets> want = {Meets::kYes, Meets::kYes, Meets::kNo, Meets::kNo,
                                   Meets::kUndecided};
  EXPECT_EQ(vitals.meets, want);
  const Translator::Admission care = (*translator)->admit(sample("self-care"));
  ASSERT_TRUE(care.admitted);
  EXPECT_EQ(care.meets[1], Meets::kNo);
  EXPECT_EQ(care.meets[2], Meets::kYes);
  EXPECT_TRUE((*translator)->admit("{}").meets.empty());
}

TEST(Conditions, OneThatNoDocumentCouldMeetIsNotTaken) {
  for (const char* text :
       {"facilty.exists()", "entry.where(", "entry.vitals.saturation.valu > 3"}) {
    const auto translator = with_conditions({text});
    ASSERT_FALSE(translator.has_value()) << text;
    const std::string said = translator.error().text();
    EXPECT_NE(said.find(std::string("the condition of target 'far' cannot be used: ") + text),
              std::string::npos)
        << said;
  }
}

TEST(Conditions, ChangeNothingOfWhatIsMade) {
  const auto translator = with_conditions({"status = 'closed'"});
  ASSERT_TRUE(translator.has_value());
  const Revision revision{sample("vitals"), "2026-03-02T09:41:00.000Z"};
  EXPECT_EQ((*translator)->translate({&revision, 1}).bundle,
            testing::house().translate({&revision, 1}).bundle);
  EXPECT_EQ((*translator)->provenance().mapping_set, testing::house().provenance().mapping_set);
  EXPECT_EQ((*translator)->provenance().settings_set, testing::house().provenance().settings_set);
}

}  // namespace
}  // namespace engine::therapy

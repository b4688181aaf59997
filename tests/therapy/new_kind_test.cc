// A new kind of entry costs one element in the model, one map and one sample. This one lives in
// tests/therapy/new_kind and was never compiled.

#include <gtest/gtest.h>

#include "tests/therapy/house.h"

namespace engine::therapy {
namespace {

using testing::read_text;

// The model with the element at its end, as a site's overlay would carry it.
void add_element(Sources& sources) {
  for (base::SourceFile& file : sources.profiles) {
    if (file.name == "session/StructureDefinition-TherapySession.json") {
      const std::size_t end = file.bytes.rfind("\n    ]");
      ASSERT_NE(end, std::string::npos);
      file.bytes.insert(end, ",\n" + read_text("tests/therapy/new_kind/element.json"));
      return;
    }
  }
  FAIL() << "the profiles hold no model";
}

TEST(NewKind, LandsWithoutBeingCompiled) {
  Sources sources = testing::house_sources();
  add_element(sources);
  sources.mappings.push_back(
      {"entry-grip-strength.map", read_text("tests/therapy/new_kind/entry-grip-strength.map")});
  auto loaded = Translator::load(std::move(sources));
  ASSERT_TRUE(loaded) << loaded.error().text();
  const Revision revision{read_text("tests/therapy/new_kind/sample.session.json"),
                          "2026-03-02T09:41:00.000Z"};
  const Translation done = (*loaded)->translate({&revision, 1});
  EXPECT_EQ(done.verdict, Verdict::kReady)
      << done.hold_reason << fhir::to_operation_outcome(done.issues);
  EXPECT_NE(done.bundle.find(R"("value":21.5,"unit":"kg")"), std::string::npos) << done.bundle;
  EXPECT_NE(done.bundle.find("Grip strength"), std::string::npos);
  EXPECT_NE((*loaded)->json_schema().find("gripStrength"), std::string::npos);
}

TEST(NewKind, WithoutItsMapTheSetIsRefused) {
  Sources sources = testing::house_sources();
  add_element(sources);
  auto loaded = Translator::load(std::move(sources));
  ASSERT_FALSE(loaded);
  EXPECT_NE(loaded.error().text().find("entry-gripStrength"), std::string::npos)
      << loaded.error().text();
}

}  // namespace
}  // namespace engine::therapy

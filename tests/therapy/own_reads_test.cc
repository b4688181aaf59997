// What the table says that the engine reads by itself, it reads: each field's name stands in the
// code.

#include "engine/therapy/own_reads.h"

#include <filesystem>
#include <string>

#include <gtest/gtest.h>

#include "tests/therapy/house.h"

namespace engine::therapy {
namespace {

TEST(OwnReads, StandInTheCodeOfTheFolder) {
  std::string code;
  for (const auto& file : std::filesystem::directory_iterator("engine/therapy")) {
    if (file.path().extension() == ".cc") {
      code += testing::read_text(file.path().string());
    }
  }
  for (const std::string_view path : kOwnReads) {
    const std::string member = "\"" + std::string(path.substr(path.rfind('.') + 1)) + "\"";
    EXPECT_NE(code.find(member), std::string::npos) << path;
  }
}

TEST(OwnReads, AreElementsOfTheModel) {
  const std::string model =
      testing::read_text("profiles/session/StructureDefinition-TherapySession.json");
  const auto holds = [&model](std::string_view path) {
    return model.find("\"path\": \"" + std::string(path) + "\"") != std::string::npos;
  };
  for (const std::string_view path : kOwnReads) {
    EXPECT_TRUE(holds(path)) << path;
  }
  for (const std::string_view path : kShownOnly) {
    EXPECT_TRUE(holds(path)) << path;
  }
}

}  // namespace
}  // namespace engine::therapy

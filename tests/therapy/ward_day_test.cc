// The sandbox's invented day must show everything that a session document can hold.

#include <filesystem>
#include <string>

#include <gtest/gtest.h>

#include "engine/json/document.h"
#include "tests/therapy/house.h"

namespace engine::therapy {
namespace {

TEST(WardDay, HoldsEveryKindOfEntry) {
  std::string sends;
  for (const auto& file : std::filesystem::directory_iterator("sandbox/ward/sends")) {
    sends += testing::read_text(file.path().string());
  }
  json::NameTable names;
  json::Document model(names);
  ASSERT_TRUE(
      model.parse(testing::read_text("profiles/session/StructureDefinition-TherapySession.json")));
  int kinds = 0;
  for (const json::Node& element : *model.root()->find("differential")->find("element")) {
    if (element.string_at("short").substr(0, 5) != "Kind:") {
      continue;
    }
    ++kinds;
    const std::string_view path = element.string_at("path");
    const std::string member = "\"" + std::string(path.substr(path.rfind('.') + 1)) + "\":";
    EXPECT_NE(sends.find(member), std::string::npos) << member << " is in no send of the day";
  }
  EXPECT_GT(kinds, 20);
}

}  // namespace
}  // namespace engine::therapy

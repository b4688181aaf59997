#pragma once
// Several sends of one session, for tests: what is sent, and what a Bundle says in short.

#include <string>
#include <vector>

#include "engine/json/document.h"
#include "tests/therapy/house.h"

namespace engine::therapy::testing {

inline constexpr const char* kFirst = "2026-03-02T09:41:00.000Z";
inline constexpr const char* kSecond = "2026-03-02T10:30:00.000Z";
inline constexpr const char* kThird = "2026-03-02T11:30:00.000Z";

// A sample as its second revision.
inline std::string second(std::string body,
                          const char* change = R"("change": { "reason": "Misread" },)") {
  return replaced(std::move(body), "\"revision\": 1,", std::string("\"revision\": 2, ") + change);
}

// One line for each resource of a Bundle: "PUT Observation corrected 95".
inline std::vector<std::string> lines(const std::string& bundle) {
  const json::NameTable names;
  json::Document document(names);
  std::vector<std::string> out;
  if (!document.parse(bundle) || document.root()->find("entry") == nullptr) {
    return out;
  }
  for (const json::Node& entry : *document.root()->find("entry")) {
    const json::Node& resource = *entry.find("resource");
    std::string line(entry.find("request")->string_at("method"));
    line += " " + std::string(resource.string_at("resourceType")) + " " +
            std::string(resource.string_at("status"));
    if (const json::Node* value = resource.find("valueQuantity")) {
      line += " " + std::string(value->find("value")->text());
    }
    out.push_back(line);
  }
  return out;
}

}  // namespace engine::therapy::testing

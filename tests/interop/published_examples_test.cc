// The published R4 examples, where they are at hand: what the record server keeps is what it was
// given.

#include <fstream>
#include <string>

#include <gtest/gtest.h>

#include "engine/json/write.h"
#include "sandbox/record_server/record_server.h"
#include "sandbox/record_server/resource_types.h"

namespace sandbox::record_server {
namespace {

class StillClock : public engine::base::Clock {
 public:
  std::chrono::system_clock::time_point now() const override { return {}; }
  std::chrono::steady_clock::time_point steady() const override { return {}; }
};

// The resource without what the server itself writes.
std::string content(const engine::json::Node& resource) {
  std::string out;
  for (const engine::json::Node& member : resource) {
    const std::string_view name = member.name_text();
    if (name != "resourceType" && name != "id" && name != "meta") {
      out += std::string(name) + '=' + engine::json::to_text(member) + '\n';
    }
  }
  return out;
}

TEST(PublishedExamples, AreKeptAsTheyCame) {
  std::ifstream in("../shared/conformance/examples/valid-r4.ndjson");
  if (!in) {
    GTEST_SKIP() << "the published examples are not at hand";
  }
  const StillClock clock;
  const engine::json::NameTable names;
  RecordServer server("http://host/fhir", clock);
  server.handle({"POST",
                 "/$abilities",
                 {{"Content-Type", "application/json"}},
                 R"({"enforceReferences":false})"});
  int kept = 0;
  for (std::string line; std::getline(in, line);) {
    engine::json::Document document(names);
    ASSERT_TRUE(document.parse(line).has_value());
    const engine::json::Node* resource = document.root()->find("resource");
    ASSERT_NE(resource, nullptr);
    const std::string type(resource->string_at("resourceType"));
    const std::string target = "/fhir/" + type + '/' + std::string(resource->string_at("id"));
    if (!is_resource_type(type)) {
      continue;
    }
    const Headers json = {{"Content-Type", "application/fhir+json"}};
    const Response put =
        server.handle({"PUT", target, json, engine::json::to_text(*resource)}).response;
    EXPECT_EQ(put.status, 201) << target << ' ' << put.body;
    engine::json::Document back(names);
    ASSERT_TRUE(back.parse(server.handle({"GET", target, {}, ""}).response.body).has_value());
    EXPECT_TRUE(content(*back.root()) == content(*resource)) << target;
    ++kept;
  }
  EXPECT_GE(kept, 100);
}

}  // namespace
}  // namespace sandbox::record_server

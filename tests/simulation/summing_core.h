#pragma once
// The small core, with two resources more: every revision of a session writes them anew, as
// a correction does. For a server that takes no transactions the revision itself is a resource,
// too, between the two, so that a bundle that breaks off has landed with it or without.

#include <string>

#include "tests/intake/core_double.h"

namespace simulation {

class SummingCore final : public engine::intake::SessionCore {
 public:
  explicit SummingCore(bool in_steps) : in_steps_(in_steps) {}
  engine::therapy::Translator::Admission admit(std::string_view body) const override {
    return inner_.admit(body);
  }
  engine::therapy::Translation translate(
      std::span<const engine::therapy::Revision> revisions) const override {
    engine::therapy::Translation out = inner_.translate(revisions);
    const std::size_t end = out.bundle.rfind("]}");
    if (end != std::string::npos) {
      const std::string name = inner_.admit(revisions.back().body).header.value;
      std::string sum;
      for (const engine::therapy::Revision& revision : revisions) {
        sum +=
            (sum.empty() ? "" : "+") + std::to_string(inner_.admit(revision.body).header.revision);
      }
      const bool first = revisions.size() == 1;
      if (in_steps_) {
        out.bundle = R"({"resourceType":"Bundle","type":"transaction","entry":[)" +
                     entry_of(name, sum, first).substr(1) + marker_of(name, revisions.back()) +
                     entry_of("kept" + name, sum, first) + "]}";
      } else {
        out.bundle.insert(end, entry_of(name, sum, first) + entry_of("kept" + name, sum, first));
      }
    }
    return out;
  }
  const engine::therapy::Provenance& provenance() const override { return inner_.provenance(); }

 private:
  std::string marker_of(const std::string& name, const engine::therapy::Revision& revision) const {
    const std::string id = name + "-" + std::to_string(inner_.admit(revision.body).header.revision);
    return R"(,{"fullUrl":"urn:)" + id + R"(","resource":{"resourceType":"Basic",)" +
           R"("identifier":[{"value":")" + id +
           R"("}]},"request":{"method":"POST","url":"Basic","ifNoneExist":"identifier=)" + id +
           R"("}})";
  }
  static std::string entry_of(const std::string& name, const std::string& sum, bool first) {
    return R"(,{"fullUrl":"urn:)" + name +
           R"(","resource":{"resourceType":"Observation","identifier":[{"value":")" + name +
           R"("}],"sum":")" + sum + R"("},"request":)" + request_of(name, first) + "}";
  }
  static std::string request_of(const std::string& name, bool first) {
    return first
               ? R"({"method":"POST","url":"Observation","ifNoneExist":"identifier=)" + name + "\"}"
               : R"({"method":"PUT","url":"Observation?identifier=)" + name + "\"}";
  }

  bool in_steps_;
  engine::intake::CoreDouble inner_;
};

}  // namespace simulation

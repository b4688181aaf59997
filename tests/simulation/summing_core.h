#pragma once
// The small core, with two resources more: every revision of a session writes them anew, as
// a correction does.

#include <string>

#include "tests/intake/core_double.h"

namespace simulation {

class SummingCore final : public engine::intake::SessionCore {
 public:
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
      out.bundle.insert(end, entry_of(name, sum, first) + entry_of("kept" + name, sum, first));
    }
    return out;
  }
  const engine::therapy::Provenance& provenance() const override { return inner_.provenance(); }

 private:
  static std::string entry_of(const std::string& name, const std::string& sum, bool first) {
    return R"(,{"fullUrl":"urn:)" + name +
           R"(","resource":{"resourceType":"Observation","identifier":")" + name + R"(","sum":")" +
           sum + R"("},"request":)" + request_of(name, first) + "}";
  }
  static std::string request_of(const std::string& name, bool first) {
    return first
               ? R"({"method":"POST","url":"Observation","ifNoneExist":"identifier=)" + name + "\"}"
               : R"({"method":"PUT","url":"Observation?identifier=)" + name + "\"}";
  }

  engine::intake::CoreDouble inner_;
};

}  // namespace simulation

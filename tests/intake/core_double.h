#pragma once
// A small core in the place of the translator: reads
// {"id","revision","patient","verdict"?,"note"?}, or a document whose "identifier" has the id as
// its value, and makes a bundle that says which revisions it was made of. Shared by the tests of
// the shell.

#include <string>

#include "engine/base/hash.h"
#include "engine/intake/session_core.h"
#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::intake {

inline std::string session_id_of(const std::string& id) {
  return base::to_string(base::name_based_uuid(base::kNamespaceUrl, id));
}

inline std::string document_of(const std::string& id, int revision, const std::string& patient,
                               const std::string& verdict = "ready", const std::string& note = "") {
  return R"({"id":")" + id + R"(","revision":)" + std::to_string(revision) + R"(,"patient":")" +
         patient + R"(","verdict":")" + verdict + R"(","note":")" + note + "\"}";
}

inline std::string id_in(const json::Node& root) {
  const json::Node* identifier = root.find("identifier");
  return std::string(identifier != nullptr ? identifier->string_at("value") : root.string_at("id"));
}

class CoreDouble final : public SessionCore {
 public:
  explicit CoreDouble(std::string mapping = "m1") {
    provenance_ = {std::move(mapping), "p1", "s1", "1"};
  }

  therapy::Translator::Admission admit(std::string_view body) const override {
    therapy::Translator::Admission out;
    json::Document document(names_);
    const auto parsed = document.parse(body);
    if (!parsed || !document.root()->is_object() || id_in(*document.root()).empty()) {
      fhir::Issue issue;
      issue.code = "structure";
      issue.text = "this is no session document";
      out.issues.push_back(issue);
      return out;
    }
    const json::Node& root = *document.root();
    out.content = json::canonical_hash(root);
    out.header.system = "urn:test";
    out.header.value = id_in(root);
    out.header.session_id = session_id_of(out.header.value);
    const json::Node* revision = root.find("revision");
    out.header.revision =
        revision == nullptr ? 0
                            : static_cast<std::uint32_t>(std::stoul(std::string(revision->text())));
    out.header.patient_key = "urn:patients|" + std::string(root.string_at("patient"));
    out.header.therapist_key = "urn:staff|t";
    out.admitted = root.string_at("verdict") != "impossible";
    if (!out.admitted) {
      fhir::Issue issue;
      issue.code = "value";
      issue.text = "saturation 104 % is impossible";
      out.issues.push_back(issue);
    }
    if (const json::Node* withdrawals = root.find("withdrawal")) {
      for (const json::Node& one : *withdrawals) {
        out.withdrawn.emplace_back(one.string_at("entry"));
      }
    }
    return out;
  }

  // One entry a revision, so that what a bundle was built on can be seen in it.
  therapy::Translation translate(std::span<const therapy::Revision> revisions) const override {
    therapy::Translation out;
    json::Document last(names_);
    if (!last.parse(revisions.back().body).has_value()) {
      return out;
    }
    const json::Node* given = last.root()->find("verdict");
    const std::string verdict(given != nullptr ? given->text() : "ready");
    out.verdict = verdict == "ready" ? therapy::Verdict::kReady : therapy::Verdict::kHeld;
    out.hold_reason = verdict == "ready" ? "" : verdict;
    if (verdict != "ready") {
      fhir::Issue issue;
      issue.code = "value";
      issue.text = "held: " + verdict;
      out.issues.push_back(issue);
    }
    if (last.root()->string_at("note") == "an entry is missing") {
      fhir::Issue issue;
      issue.severity = fhir::Severity::kWarning;
      issue.text = "an entry is missing now";
      out.issues.push_back(issue);
    }
    out.findings = "[]";
    out.bundle = R"({"resourceType":"Bundle","type":"transaction","entry":[)";
    out.lineage =
        R"({"rules":[],"inputs":[],"elements":[],"map":")" + provenance_.mapping_set + R"("})";
    bool first = true;
    for (const therapy::Revision& revision : revisions) {
      json::Document document(names_);
      if (!document.parse(revision.body).has_value()) {
        continue;
      }
      out.bundle += first ? "" : ",";
      first = false;
      const std::string id = id_in(*document.root());
      const std::string number(document.root()->find("revision")->text());
      out.bundle += R"({"fullUrl":"urn:)" + id + ":" + number +
                    R"(","resource":{"resourceType":"Observation","session":")" + id +
                    R"(","revision":)" + number + R"(,"note":")" +
                    std::string(document.root()->string_at("note")) + R"(","patient":")" +
                    std::string(document.root()->string_at("patient")) + R"(","map":")" +
                    provenance_.mapping_set + R"(","issued":")" + revision.accepted_at + R"("}})";
    }
    out.bundle += "]}";
    if (verdict == "map-failed") {
      out.bundle.clear();
    }
    return out;
  }

  const therapy::Provenance& provenance() const override { return provenance_; }

 private:
  json::NameTable names_;
  therapy::Provenance provenance_;
};

}  // namespace engine::intake

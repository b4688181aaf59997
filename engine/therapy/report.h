#pragma once
// Collects what is wrong with one session document, with the place in the words of FHIR
// ("TherapySession.entry[2].vitals.saturation") and line and column of the text. Bounded by
// limits::kIssuesMax. Not thread safe.

#include <string>
#include <string_view>

#include "engine/fhir/issue.h"
#include "engine/json/node.h"

namespace engine::therapy {

// FHIRPath of a node of a session document, from its root.
std::string path_of(const json::Node& node);

class Report {
 public:
  // The text that the nodes were parsed from; both must outlive the report.
  Report(std::string_view text, fhir::Issues& issues) : text_(text), issues_(issues) {}

  void error(std::string_view code, const json::Node& at, std::string text,
             std::string_view rule = {});
  void warning(std::string_view code, const json::Node& at, std::string text,
               std::string_view rule = {});
  void information(std::string_view code, const json::Node& at, std::string text,
                   std::string_view rule = {});
  // Something that a person must settle before the session may be sent. The first reason names the
  // hold; see Translation::hold_reason.
  void hold(std::string_view reason, const json::Node& at, std::string text,
            std::string_view rule = {});

  bool refused() const { return errors_ != 0; }
  const std::string& hold_reason() const { return hold_reason_; }

 private:
  void add(fhir::Severity severity, std::string_view code, const json::Node& at, std::string text,
           std::string_view rule);

  std::string_view text_;
  fhir::Issues& issues_;
  std::size_t errors_ = 0;
  std::string hold_reason_;
};

}  // namespace engine::therapy

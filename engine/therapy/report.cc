#include "engine/therapy/report.h"

#include <utility>
#include <vector>

#include "engine/base/limits.h"

namespace engine::therapy {

std::string path_of(const json::Node& node) {
  std::vector<const json::Node*> chain;
  for (const json::Node* at = &node; at->parent != nullptr; at = at->parent) {
    chain.push_back(at);
  }
  std::string path = "TherapySession";
  for (auto it = chain.rbegin(); it != chain.rend(); ++it) {
    const json::Node* at = *it;
    if (at->parent->is_array()) {
      std::size_t index = 0;
      for (const json::Node* item = at->parent->first; item != at; item = item->next) {
        ++index;
      }
      path += "[" + std::to_string(index) + "]";
    } else {
      path += ".";
      path += at->name_text();
    }
  }
  return path;
}

void Report::add(fhir::Severity severity, std::string_view code, const json::Node& at,
                 std::string text, std::string_view rule) {
  if (severity == fhir::Severity::kError) {
    ++errors_;
  }
  if (issues_.size() > base::limits::kIssuesMax) {
    return;
  }
  if (issues_.size() == base::limits::kIssuesMax) {
    text = "There is more to say than fits here: put the places above right and send again.";
  }
  fhir::Issue issue;
  issue.severity = severity;
  issue.code = code;
  issue.expression = path_of(at);
  issue.text = std::move(text);
  issue.rule = rule;
  if (at.offset != json::kNoOffset && at.offset <= text_.size()) {
    issue.position = json::locate(text_, at.offset);
  }
  issues_.push_back(std::move(issue));
}

void Report::error(std::string_view code, const json::Node& at, std::string text,
                   std::string_view rule) {
  add(fhir::Severity::kError, code, at, std::move(text), rule);
}

void Report::warning(std::string_view code, const json::Node& at, std::string text,
                     std::string_view rule) {
  add(fhir::Severity::kWarning, code, at, std::move(text), rule);
}

void Report::information(std::string_view code, const json::Node& at, std::string text,
                         std::string_view rule) {
  add(fhir::Severity::kInformation, code, at, std::move(text), rule);
}

void Report::hold(std::string_view reason, const json::Node& at, std::string text,
                  std::string_view rule) {
  if (hold_reason_.empty()) {
    hold_reason_ = reason;
  }
  add(fhir::Severity::kWarning, "business-rule", at, std::move(text), rule);
}

}  // namespace engine::therapy

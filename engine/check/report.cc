#include "engine/check/report.h"

#include <algorithm>

#include "engine/base/limits.h"
#include "engine/check/place.h"

namespace engine::check {

void Report::begin(const json::Node& root, std::string_view text, bool notes,
                   const shapes::TypeModel& types) {
  root_ = &root;
  types_ = &types;
  text_ = text;
  notes_ = notes;
  quiet_ = false;
  errors_ = 0;
  left_out_ = 0;
}

void Report::store(fhir::Severity severity, std::string_view code, const json::Node& at,
                   std::string text, std::string_view rule, const json::Node& shown_at) {
  if (entries_.size() >= base::limits::kIssuesMax) {
    ++left_out_;
    return;
  }
  fhir::Issue issue;
  issue.severity = severity;
  issue.code = code;
  issue.expression = place_of(at, *root_, *types_);
  issue.text = std::move(text);
  issue.rule = rule;
  if (!seen_.insert(issue.expression + '\n' + issue.code + '\n' + issue.text).second) {
    return;
  }
  if (!text_.empty() && shown_at.offset <= text_.size()) {
    issue.position = json::locate(text_, shown_at.offset);
  }
  entries_.push_back(
      {shown_at.offset, static_cast<std::uint32_t>(entries_.size()), std::move(issue)});
}

fhir::Issues Report::take() {
  fhir::Issues out;
  if (entries_.empty()) {
    return out;
  }
  std::sort(entries_.begin(), entries_.end(), [](const Entry& a, const Entry& b) {
    return a.offset != b.offset ? a.offset < b.offset : a.order < b.order;
  });
  for (Entry& entry : entries_) {
    out.push_back(std::move(entry.issue));
  }
  if (left_out_ > 0) {
    fhir::Issue more;
    more.severity = fhir::Severity::kError;
    more.code = "too-costly";
    more.text = std::to_string(left_out_) +
                " more statements are left out; correct these first and check again";
    out.push_back(std::move(more));
  }
  entries_.clear();
  seen_.clear();
  return out;
}

}  // namespace engine::check

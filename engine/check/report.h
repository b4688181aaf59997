#pragma once
// Collects what is wrong with one resource. Texts are made by the caller's function only when they
// are wanted: never for a resource without fault, nor while a speculation only asks yes or no.

#include <string>
#include <string_view>
#include <unordered_set>
#include <vector>

#include "engine/fhir/issue.h"
#include "engine/json/document.h"
#include "engine/shapes/types.h"

namespace engine::check {

class Report {
 public:
  // `root` is the resource that paths start at; `text` may be empty.
  void begin(const json::Node& root, std::string_view text, bool notes,
             const shapes::TypeModel& types);
  // Sorted by place in the document. Leaves the report empty.
  fhir::Issues take();

  bool wants_notes() const { return notes_ && !quiet_; }

  // `at` is the element the statement is about; `shown_at` the place in the text when it is another
  // (an unknown property belongs to no element).
  template <class MakeText>
  void add(fhir::Severity severity, std::string_view code, const json::Node& at, MakeText text,
           std::string_view rule = {}, const json::Node* shown_at = nullptr) {
    const bool error = severity <= fhir::Severity::kError;
    if (quiet_) {
      errors_ += error ? 1U : 0U;
      return;
    }
    if (severity == fhir::Severity::kInformation && !notes_) {
      return;
    }
    store(severity, code, at, text(), rule, shown_at != nullptr ? *shown_at : at);
  }

  // --- Speculation: only whether there is an error counts.
  struct Mark {
    bool quiet;
    std::uint32_t errors;
  };
  Mark hush() {
    const Mark mark{quiet_, errors_};
    quiet_ = true;
    errors_ = 0;
    return mark;
  }
  // True when no error came since hush().
  bool resume(const Mark& mark) {
    const bool clean = errors_ == 0;
    quiet_ = mark.quiet;
    errors_ = mark.errors;
    return clean;
  }
  // In a speculation that has failed already nothing more needs to be looked at.
  bool settled() const { return quiet_ && errors_ > 0; }

 private:
  struct Entry {
    std::uint32_t offset;
    std::uint32_t order;
    fhir::Issue issue;
  };
  void store(fhir::Severity severity, std::string_view code, const json::Node& at, std::string text,
             std::string_view rule, const json::Node& shown_at);

  const json::Node* root_ = nullptr;
  const shapes::TypeModel* types_ = nullptr;
  std::string_view text_;
  bool notes_ = true;
  bool quiet_ = false;
  std::uint32_t errors_ = 0;
  std::size_t left_out_ = 0;
  std::vector<Entry> entries_;
  std::unordered_set<std::string> seen_;  // one statement is made once, whichever shapes ask for it
};

}  // namespace engine::check

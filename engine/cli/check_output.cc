#include "engine/cli/check_output.h"

#include <algorithm>

#include "engine/base/utf8.h"
#include "engine/cli/shown_text.h"

namespace engine::cli {
namespace {

using fhir::Severity;

const char* colour_of(Severity severity) {
  switch (severity) {
    case Severity::kFatal:
    case Severity::kError:
      return "\033[31m";
    case Severity::kWarning:
      return "\033[33m";
    case Severity::kInformation:
      return "\033[36m";
  }
  return "";
}

std::string xml(std::string_view text) {
  std::string out;
  for (const char c : text) {
    switch (c) {
      case '&':
        out += "&amp;";
        break;
      case '<':
        out += "&lt;";
        break;
      case '>':
        out += "&gt;";
        break;
      case '"':
        out += "&quot;";
        break;
      default:
        // XML 1.0 has no other control characters.
        out += static_cast<unsigned char>(c) < 0x20 && c != '\n' && c != '\t' ? ' ' : c;
    }
  }
  return out;
}

std::string position_of(const fhir::Issue& issue) {
  return issue.position
             ? std::to_string(issue.position->line) + ':' + std::to_string(issue.position->column)
             : std::string("-");
}

void put(std::FILE* to, std::string_view text) {
  std::fwrite(text.data(), 1, text.size(), to);
}

std::string padded(std::string text, std::size_t width) {
  const std::size_t have = base::count_scalars(text);
  return have < width ? text + std::string(width - have, ' ') : text;
}

bool is_error(const fhir::Issue& issue) {
  return issue.severity <= Severity::kError;
}

}  // namespace

void CheckTally::add(const fhir::Issues& issues) {
  ++resources;
  with_errors += fhir::has_errors(issues) ? 1U : 0U;
  for (const fhir::Issue& issue : issues) {
    errors += is_error(issue) ? 1U : 0U;
    warnings += issue.severity == Severity::kWarning ? 1U : 0U;
    notes += issue.severity == Severity::kInformation ? 1U : 0U;
  }
}

void CheckOutput::write(const CheckedResource& checked) {
  tally_.add(checked.issues);
  switch (format_) {
    case CheckFormat::kText:
      write_text(checked);
      return;
    case CheckFormat::kJson:
      put(to_, fhir::to_operation_outcome(checked.issues) + "\n");
      return;
    case CheckFormat::kJunit:
      kept_.push_back(checked);
      return;
  }
}

void CheckOutput::write_text(const CheckedResource& checked) {
  std::string head = checked.place();
  if (!checked.title.empty()) {
    head += "  " + checked.title;
  }
  head = shown_text(head);
  if (checked.issues.empty()) {
    put(to_, head + (colours_ ? "  \033[32mok\033[0m\n" : "  ok\n"));
    return;
  }
  put(to_, head + "\n");
  std::size_t positions = 1;
  std::size_t places = 1;
  for (const fhir::Issue& issue : checked.issues) {
    positions = std::max(positions, position_of(issue).size());
    places = std::max(places, base::count_scalars(issue.expression));
  }
  constexpr std::size_t kPlaceWidthMax = 56;
  places = std::min(places, kPlaceWidthMax);
  for (const fhir::Issue& issue : checked.issues) {
    const std::string severity = padded(std::string(fhir::name_of(issue.severity)), 11);
    std::string row = "  " + padded(position_of(issue), positions) + "  ";
    row += colours_ ? colour_of(issue.severity) + severity + "\033[0m" : severity;
    std::string said = "  " + padded(issue.expression, places) + "  " + issue.text;
    if (!issue.rule.empty()) {
      said += " [" + issue.rule + "]";
    }
    put(to_, row + shown_text(said) + "\n");
  }
}

void CheckOutput::finish() {
  if (format_ == CheckFormat::kJunit) {
    write_junit();
    return;
  }
  if (format_ == CheckFormat::kText) {
    std::fprintf(to_, "%zu checked, %zu with errors; %zu errors, %zu warnings, %zu notes\n",
                 tally_.resources, tally_.with_errors, tally_.errors, tally_.warnings,
                 tally_.notes);
  }
}

void CheckOutput::write_junit() const {
  std::string out = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<testsuites>\n";
  out += "<testsuite name=\"chartferry check\" tests=\"" + std::to_string(tally_.resources) +
         "\" failures=\"" + std::to_string(tally_.with_errors) + "\" errors=\"0\">\n";
  for (const CheckedResource& each : kept_) {
    out += "<testcase classname=\"" + xml(each.file) + "\" name=\"" +
           xml(each.title.empty() ? each.place() : each.title + " (" + each.place() + ")") + "\"";
    if (each.issues.empty()) {
      out += "/>\n";
      continue;
    }
    out += ">\n";
    std::string errors;
    std::string others;
    for (const fhir::Issue& issue : each.issues) {
      const std::string row = std::string(fhir::name_of(issue.severity)) + " " +
                              position_of(issue) + " " + issue.expression + ": " + issue.text +
                              "\n";
      (is_error(issue) ? errors : others) += row;
    }
    if (!errors.empty()) {
      const auto first = std::find_if(each.issues.begin(), each.issues.end(), is_error);
      out += "<failure message=\"" + xml(first->text) + "\">" + xml(errors) + "</failure>\n";
    }
    if (!others.empty()) {
      out += "<system-out>" + xml(others) + "</system-out>\n";
    }
    out += "</testcase>\n";
  }
  put(to_, out + "</testsuite>\n</testsuites>\n");
}

}  // namespace engine::cli

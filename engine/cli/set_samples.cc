#include "engine/cli/set_samples.h"

#include <algorithm>
#include <string_view>
#include <vector>

#include "engine/base/limits.h"
#include "engine/cli/embedded.h"
#include "engine/cli/files.h"
#include "engine/cli/map_samples.h"
#include "engine/cli/stamp.h"
#include "engine/json/document.h"

namespace engine::cli {
namespace {

constexpr std::string_view kFolder = "samples/";
constexpr std::string_view kSession = ".session.json";
constexpr std::string_view kBundle = ".bundle.json";

std::string fault_of(const therapy::Translator& translator, const base::SourceFile& sample,
                     const base::SourceFile* expected) {
  const json::NameTable names;
  json::Document document(names);
  if (base::Result<void> parsed = document.parse(sample.bytes); !parsed) {
    return parsed.error().text();
  }
  const therapy::Revision revision{sample.bytes, default_stamp(*document.root())};
  const therapy::Translation made = translator.translate({&revision, 1}, {.lineage = false});
  if (is_fault(made)) {
    std::string text = made.hold_reason.empty() ? "refused" : made.hold_reason;
    for (const fhir::Issue& issue : made.issues) {
      if (issue.severity <= fhir::Severity::kError) {
        return text + ": " + issue.text;
      }
    }
    return text;
  }
  if (expected != nullptr && !difference(expected->bytes, made.bundle).empty()) {
    return "the bundle is not the one in " + expected->name;
  }
  return {};
}

}  // namespace

bool is_fault(const therapy::Translation& made) {
  return made.verdict == therapy::Verdict::kRefused || made.hold_reason == "map-failed" ||
         made.hold_reason == "check-failed" || made.hold_reason == "unknown-code";
}

std::string failing_sample(const therapy::Translator& translator,
                           const std::string& site_mappings) {
  std::vector<base::SourceFile> files;
  for (const base::SourceView& file : embedded_mappings()) {
    if (file.name.starts_with(kFolder)) {
      files.push_back({std::string(file.name), std::string(file.bytes)});
    }
  }
  if (!site_mappings.empty()) {
    auto site = read_folder(site_mappings, base::limits::kCheckedBytesMax);
    if (!site) {
      return site.error().text();
    }
    files.insert(files.end(), site->begin(), site->end());
  }
  for (const base::SourceFile& file : files) {
    if (!file.name.starts_with(kFolder) || !file.name.ends_with(kSession)) {
      continue;
    }
    const std::string expected_name =
        file.name.substr(0, file.name.size() - kSession.size()) + std::string(kBundle);
    const auto expected = std::find_if(
        files.begin(), files.end(), [&](const auto& other) { return other.name == expected_name; });
    std::string fault = fault_of(translator, file, expected != files.end() ? &*expected : nullptr);
    if (!fault.empty()) {
      return file.name + ": " + fault;
    }
  }
  return {};
}

}  // namespace engine::cli

#include "engine/cli/check_batch.h"

#include <cstdio>
#include <deque>
#include <optional>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/cli/batch.h"
#include "engine/cli/commands.h"
#include "engine/json/write.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

bool is_definition(const json::Node& resource) {
  const std::string_view type = resource.string_at("resourceType");
  return type == "StructureDefinition" || type == "ValueSet" || type == "CodeSystem";
}

// Shapes of one set of supporting definitions; lines of one case mostly follow each other.
struct Extended {
  std::string key;
  CheckShapes shapes;
};

class BatchChecker {
 public:
  BatchChecker(const CheckPackages& packages, const CheckBatchOptions& options, CheckShapes shapes)
      : packages_(packages), options_(options), shapes_(std::move(shapes)) {}

  const json::NameTable& names() const { return shapes_.catalog->names(); }

  Result<void> answer(const json::Node& request, std::string& out) {
    const json::Node* resource = request.find("resource");
    if (resource == nullptr) {
      return Error(ErrorCode::kInvalid, "the line has no resource to check");
    }
    std::vector<std::string_view> profiles(options_.profiles.begin(), options_.profiles.end());
    const std::string_view profile = request.string_at("profile");
    if (!profile.empty()) {
      profiles.push_back(profile);
    }
    check::Options options;
    options.profiles = profiles;
    options.now = options_.now;
    options.notes = options_.notes;
    const json::Node* supporting = request.find("supporting");
    Result<fhir::Issues> issues =
        supporting != nullptr && supporting->is_array() && supporting->count > 0
            ? check_with(*resource, *supporting, options)
            : Result<fhir::Issues>(shapes_.checker->check(*resource, options, scratch_));
    if (!issues) {
      return issues.error();
    }
    out += ",\"outcome\":" + fhir::to_operation_outcome(*issues);
    return {};
  }

 private:
  Result<fhir::Issues> check_with(const json::Node& resource, const json::Node& supporting,
                                  check::Options options) {
    std::vector<base::SourceFile> definitions;
    std::string key;
    for (const json::Node& each : supporting) {
      if (is_definition(each)) {
        definitions.push_back(
            {"supporting-" + std::to_string(definitions.size()) + ".json", json::to_text(each)});
        key += definitions.back().bytes + "\n";
      }
    }
    Result<const Extended*> found = extended(key, definitions);
    if (!found) {
      return found.error();
    }
    const Extended& with = **found;
    // Names are shared only within one catalog, so what is looked at is read again with these.
    std::deque<json::Document> documents;
    std::vector<const json::Node*> others;
    const auto read_again = [&](const json::Node& node) -> Result<const json::Node*> {
      json::Document& document = documents.emplace_back(with.shapes.catalog->names());
      Result<void> read = document.parse(json::to_text(node));
      if (!read) {
        return read.error();
      }
      return document.root();
    };
    for (const json::Node& each : supporting) {
      Result<const json::Node*> node = read_again(each);
      if (!node) {
        return node.error();
      }
      others.push_back(*node);
    }
    Result<const json::Node*> node = read_again(resource);
    if (!node) {
      return node.error();
    }
    options.others = others;
    fhir::Issues issues = with.shapes.checker->check(**node, options, scratch_);
    for (fhir::Issue issue : with.shapes.issues) {
      // A definition that cannot be used is no fault of the resource.
      if (issue.severity <= fhir::Severity::kError) {
        issue.severity = fhir::Severity::kWarning;
      }
      issue.expression.clear();
      issues.push_back(std::move(issue));
    }
    return issues;
  }

  Result<const Extended*> extended(const std::string& key,
                                   std::span<const base::SourceFile> definitions) {
    for (const Extended& each : kept_) {
      if (each.key == key) {
        return &each;
      }
    }
    Result<CheckShapes> shapes = packages_.load(definitions);
    if (!shapes) {
      return shapes.error();
    }
    constexpr std::size_t kKept = 4;
    if (kept_.size() >= kKept) {
      kept_.pop_front();
    }
    kept_.push_back({key, std::move(*shapes)});
    return &kept_.back();
  }

  const CheckPackages& packages_;
  const CheckBatchOptions& options_;
  CheckShapes shapes_;
  check::Scratch scratch_;
  std::deque<Extended> kept_;
};

}  // namespace

int run_check_batch(const CheckPackages& packages, const CheckBatchOptions& options) {
  Result<CheckShapes> shapes = packages.load();
  if (!shapes) {
    std::fprintf(stderr, "chartferry check: %s\n", shapes.error().text().c_str());
    return kUsage;
  }
  BatchChecker checker(packages, options, std::move(*shapes));
  return run_batch(checker.names(), [&](const json::Node& request, std::string& out) {
    return checker.answer(request, out);
  });
}

}  // namespace engine::cli

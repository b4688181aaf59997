#include "engine/shapes/dependencies.h"

#include <algorithm>

#include "engine/shapes/catalog_store.h"

namespace engine::shapes {
namespace {

bool is_label(std::string_view version) {
  return version.empty() || version.front() < '0' || version.front() > '9';
}

class Ordering {
 public:
  Ordering(std::span<const FhirPackage> packages, const Catalog& loaded)
      : packages_(packages), loaded_(loaded), states_(packages.size(), State::kUnseen) {}

  PackageOrder order() {
    for (std::size_t i = 0; i < packages_.size(); ++i) {
      for (std::size_t j = 0; j < i; ++j) {
        if (packages_[i].id() == packages_[j].id()) {
          report(fhir::Severity::kError, packages_[i], "the package is given twice");
          states_[i] = State::kRefused;
        }
      }
    }
    for (std::size_t i = 0; i < packages_.size(); ++i) {
      visit(i);
    }
    return std::move(result_);
  }

 private:
  enum class State : std::uint8_t { kUnseen, kOpen, kDone, kRefused };

  void report(fhir::Severity severity, const FhirPackage& package, std::string text) {
    fhir::Issue issue;
    issue.severity = severity;
    issue.code = severity == fhir::Severity::kError ? "invalid" : "not-found";
    issue.expression = package.id();
    issue.text = std::move(text) + " (" + package.id() + ")";
    result_.issues.push_back(std::move(issue));
  }

  // False when the package cannot be added.
  bool visit(std::size_t index) {
    const FhirPackage& package = packages_[index];
    if (states_[index] == State::kOpen) {
      report(fhir::Severity::kError, package, "packages depend on one another in a circle");
      return false;
    }
    if (states_[index] != State::kUnseen) {
      return states_[index] == State::kDone;
    }
    states_[index] = State::kOpen;
    bool usable = true;
    for (const auto& [name, wanted] : package.dependencies) {
      usable &= visit_dependency(package, name, wanted);
    }
    states_[index] = usable ? State::kDone : State::kRefused;
    if (usable) {
      result_.packages.push_back(&package);
    }
    return usable;
  }

  bool visit_dependency(const FhirPackage& package, const std::string& name,
                        const std::string& wanted) {
    if (is_label(wanted)) {
      report(
          fhir::Severity::kError, package,
          "the dependency " + name + " names '" + wanted.substr(0, 20) + "', which is no version");
      return false;
    }
    const FhirPackage* best = nullptr;
    for (const FhirPackage& other : packages_) {
      if (other.name == name && version_answers(other.version, wanted) &&
          (best == nullptr || compare_versions(other.version, best->version) > 0)) {
        best = &other;
      }
    }
    if (best != nullptr) {
      return visit(static_cast<std::size_t>(best - packages_.data()));
    }
    for (const std::string_view id : loaded_.packages()) {
      const std::size_t hash = id.find('#');
      if (id.substr(0, hash) == name && version_answers(id.substr(hash + 1), wanted)) {
        return true;
      }
    }
    report(
        fhir::Severity::kWarning, package,
        "the dependency " + name + "#" + wanted + " is not at hand; what stands on it is left out");
    return true;
  }

  std::span<const FhirPackage> packages_;
  const Catalog& loaded_;
  std::vector<State> states_;
  PackageOrder result_;
};

}  // namespace

bool version_answers(std::string_view version, std::string_view wanted) {
  if (wanted.ends_with(".x")) {
    const std::string_view prefix = wanted.substr(0, wanted.size() - 1);
    return version.starts_with(prefix) &&
           version.substr(prefix.size()).find('.') == std::string_view::npos;
  }
  return version == wanted;
}

PackageOrder order_packages(std::span<const FhirPackage> packages, const Catalog& loaded) {
  return Ordering(packages, loaded).order();
}

}  // namespace engine::shapes

#include "engine/cli/check_catalog.h"

#include <utility>

#include "engine/base/limits.h"
#include "engine/cli/embedded.h"
#include "engine/cli/read_file.h"
#include "engine/shapes/package.h"

namespace engine::cli {

base::Result<void> CheckPackages::add(const std::string& path) {
  if (path.find('/') == std::string::npos && !embedded_profiles(path).empty()) {
    embedded_.push_back(path);
    return {};
  }
  base::Result<std::string> bytes = read_file(path, base::limits::kPackageBytesMax);
  if (!bytes) {
    return std::move(bytes.error());
  }
  base::Result<shapes::FhirPackage> package = shapes::read_package(*bytes);
  if (!package) {
    return base::Error(package.error().code, package.error().text(), path);
  }
  packages_.push_back({package->id(), std::move(package->files)});
  return {};
}

base::Result<CheckShapes> CheckPackages::load(std::span<const base::SourceFile> definitions) const {
  std::vector<base::SourceView> facts;
  std::vector<std::string> folders = {"r4"};
  folders.insert(folders.end(), embedded_.begin(), embedded_.end());
  for (const std::string& folder : folders) {
    const std::span<const base::SourceView> views = embedded_profiles(folder);
    facts.insert(facts.end(), views.begin(), views.end());
  }
  base::Result<std::unique_ptr<shapes::Catalog>> catalog = shapes::Catalog::load(facts);
  if (!catalog) {
    return catalog.error();
  }
  CheckShapes out;
  out.catalog = std::move(*catalog);
  const auto keep = [&](fhir::Issues issues) {
    for (fhir::Issue& issue : issues) {
      out.issues.push_back(std::move(issue));
    }
  };
  std::vector<base::SourceFile> ours;
  for (const base::SourceView& view : embedded_profiles("therapy")) {
    ours.push_back({std::string(view.name), std::string(view.bytes)});
  }
  keep(out.catalog->add(ours));
  for (const Loaded& package : packages_) {
    keep(out.catalog->add(package.files, package.id));
  }
  if (!definitions.empty()) {
    keep(out.catalog->add(definitions));
  }
  out.catalog->freeze();
  out.checker = std::make_unique<check::Checker>(*out.catalog);
  return out;
}

}  // namespace engine::cli

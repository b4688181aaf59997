#include "engine/cli/site_profiles.h"

#include <filesystem>
#include <utility>

#include "engine/base/hash.h"
#include "engine/base/limits.h"
#include "engine/cli/embedded.h"
#include "engine/cli/files.h"
#include "engine/cli/read_file.h"
#include "engine/shapes/compile.h"
#include "engine/shapes/dependencies.h"
#include "engine/shapes/package.h"

namespace engine::cli {

using base::Error;
using base::ErrorCode;
using base::Result;
namespace fs = std::filesystem;

namespace {

// Raised whenever the fact files or what is compiled into them change.
constexpr std::string_view kCompilerVersion = "1";
constexpr std::string_view kEndMark = "# end\n";
constexpr std::string_view kLockName = "profiles.lock";

struct GivenPackage {
  std::string digest;  // of the .tgz
  std::string path;
};

// The pins of a cache folder: one "name#version sha256" a line.
struct Lock {
  std::vector<std::pair<std::string, std::string>> pins;

  const std::string* find(std::string_view id) const {
    for (const auto& [pinned, digest] : pins) {
      if (pinned == id) {
        return &digest;
      }
    }
    return nullptr;
  }
};

Lock read_lock(const std::string& folder) {
  Lock lock;
  Result<std::string> text =
      read_file(folder + "/" + std::string(kLockName), base::limits::kBodyBytesMax);
  if (!text) {
    return lock;  // no pins yet
  }
  std::string_view rest = *text;
  while (!rest.empty()) {
    const std::size_t end = rest.find('\n');
    const std::string_view line = rest.substr(0, end);
    rest = end == std::string_view::npos ? std::string_view() : rest.substr(end + 1);
    const std::size_t space = line.find(' ');
    if (space != std::string_view::npos) {
      lock.pins.emplace_back(line.substr(0, space), line.substr(space + 1));
    }
  }
  return lock;
}

Result<void> write_lock(const std::string& folder, const Lock& lock) {
  std::string text;
  for (const auto& [id, digest] : lock.pins) {
    text += id + " " + digest + "\n";
  }
  return write_file(folder + "/" + std::string(kLockName), text);
}

class ProfileLoader {
 public:
  explicit ProfileLoader(const ProfileOptions& options) : options_(options) {}

  Result<SiteProfiles> load() {
    for (Result<void> (ProfileLoader::*step)() :
         {&ProfileLoader::load_built_in, &ProfileLoader::load_pinned, &ProfileLoader::load_packages,
          &ProfileLoader::load_definitions}) {
      Result<void> done = (this->*step)();
      if (!done) {
        return std::move(done).error();
      }
    }
    return std::move(site_);
  }

 private:
  Result<void> load_built_in() {
    std::vector<base::SourceView> files;
    std::vector<std::string> folders{"r4", "therapy", "session"};
    folders.insert(folders.end(), options_.built_in.begin(), options_.built_in.end());
    for (const std::string& folder : folders) {
      const auto some = embedded_profiles(folder);
      if (some.empty() && folder != "therapy" && folder != "session") {
        return Error(ErrorCode::kNotFound, "there are no built-in profiles of this name", folder);
      }
      files.insert(files.end(), some.begin(), some.end());
    }
    Result<std::unique_ptr<shapes::Catalog>> catalog =
        shapes::Catalog::load(std::span<const base::SourceView>(files));
    if (!catalog) {
      return std::move(catalog).error();
    }
    site_.catalog = std::move(*catalog);
    return {};
  }

  Result<void> load_pinned() {
    if (options_.cache.empty()) {
      return {};
    }
    lock_ = read_lock(options_.cache);
    if (!options_.use_cached_packages) {
      return {};
    }
    for (const auto& [id, digest] : lock_.pins) {
      if (!add_cached(digest)) {
        return Error(ErrorCode::kCorrupt,
                     "the cache has lost a package; add it again with `profiles add`", id);
      }
    }
    return {};
  }

  Result<void> load_packages() {
    std::vector<shapes::FhirPackage> packages;
    std::vector<GivenPackage> given;
    for (const std::string& path : options_.packages) {
      Result<std::string> bytes = read_file(path, base::limits::kPackageBytesMax);
      if (!bytes) {
        return std::move(bytes).error();
      }
      Result<shapes::FhirPackage> package = shapes::read_package(*bytes);
      if (!package) {
        Error error = std::move(package).error();
        error.where = path + (error.where.empty() ? "" : ": " + error.where);
        return error;
      }
      given.push_back({base::sha256_hex(*bytes), path});
      packages.push_back(std::move(*package));
    }
    const shapes::PackageOrder order = shapes::order_packages(packages, *site_.catalog);
    site_.issues.insert(site_.issues.end(), order.issues.begin(), order.issues.end());
    for (const shapes::FhirPackage* package : order.packages) {
      const GivenPackage& origin = given[static_cast<std::size_t>(package - packages.data())];
      if (site_.catalog->has_package(package->id()) && lock_.find(package->id()) == nullptr) {
        continue;  // came with the program
      }
      Result<void> added = add_package(*package, origin);
      if (!added) {
        return added;
      }
    }
    return {};
  }

  Result<void> add_package(const shapes::FhirPackage& package, const GivenPackage& origin) {
    if (options_.cache.empty()) {
      const fhir::Issues issues = site_.catalog->add(package);
      site_.issues.insert(site_.issues.end(), issues.begin(), issues.end());
      return {};
    }
    if (const std::string* pinned = lock_.find(package.id())) {
      if (*pinned != origin.digest) {
        return Error(ErrorCode::kConflict,
                     "another content is pinned for " + package.id() + " in " + options_.cache +
                         "/" + std::string(kLockName) +
                         "; remove its line there if the change is meant",
                     origin.path);
      }
      if (options_.use_cached_packages) {
        return {};  // loaded already
      }
    }
    if (!add_cached(origin.digest)) {
      Result<void> compiled = compile(package, origin.digest);
      if (!compiled) {
        return compiled;
      }
    }
    if (lock_.find(package.id()) == nullptr) {
      lock_.pins.emplace_back(package.id(), origin.digest);
      return write_lock(options_.cache, lock_);
    }
    return {};
  }

  std::string cache_name(const std::string& digest) const {
    // What a package is compiled to depends on the definitions below it.
    std::string key = std::string(kCompilerVersion) + "\n" + digest + "\n";
    for (const base::SourceView& file : embedded_profiles("r4")) {
      key += std::to_string(file.bytes.size()) + "\n";
    }
    return options_.cache + "/" + base::sha256_hex(key).substr(0, 32) + ".facts";
  }

  bool add_cached(const std::string& digest) {
    const std::string name = cache_name(digest);
    Result<std::string> text = read_file(name, base::limits::kPackageUnpackedBytesMax);
    if (!text || !text->ends_with(kEndMark)) {
      return false;
    }
    const base::SourceFile file{name, std::move(*text)};
    const fhir::Issues issues = site_.catalog->add({&file, 1});
    site_.issues.insert(site_.issues.end(), issues.begin(), issues.end());
    return true;
  }

  Result<void> compile(const shapes::FhirPackage& package, const std::string& digest) {
    shapes::CompiledPackage compiled = shapes::compile_package(package, *site_.catalog);
    site_.issues.insert(site_.issues.end(), compiled.issues.begin(), compiled.issues.end());
    base::SourceFile file{cache_name(digest), std::move(compiled.all)};
    file.bytes += kEndMark;
    Result<void> written = write_file(file.name, file.bytes);
    if (!written) {
      return written;
    }
    const fhir::Issues issues = site_.catalog->add({&file, 1});
    site_.issues.insert(site_.issues.end(), issues.begin(), issues.end());
    return {};
  }

  Result<void> load_definitions() {
    std::vector<base::SourceFile> files;
    for (const std::string& path : options_.definitions) {
      std::error_code problem;
      if (fs::is_directory(path, problem)) {
        Result<std::vector<base::SourceFile>> folder =
            read_folder(path, base::limits::kPackageFileBytesMax);
        if (!folder) {
          return std::move(folder).error();
        }
        std::move(folder->begin(), folder->end(), std::back_inserter(files));
        continue;
      }
      Result<std::string> bytes = read_file(path, base::limits::kPackageFileBytesMax);
      if (!bytes) {
        return std::move(bytes).error();
      }
      files.push_back({path, std::move(*bytes)});
    }
    if (!files.empty()) {
      const fhir::Issues issues = site_.catalog->add(files);
      site_.issues.insert(site_.issues.end(), issues.begin(), issues.end());
    }
    return {};
  }

  const ProfileOptions& options_;
  SiteProfiles site_;
  Lock lock_;
};

}  // namespace

Result<SiteProfiles> load_profiles(const ProfileOptions& options) {
  return ProfileLoader(options).load();
}

}  // namespace engine::cli

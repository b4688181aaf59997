#include "engine/shapes/package.h"

#include <algorithm>
#include <memory>

#include <archive.h>
#include <archive_entry.h>

#include "engine/base/limits.h"
#include "engine/json/document.h"

namespace engine::shapes {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
namespace limits = base::limits;

struct ArchiveClose {
  void operator()(archive* handle) const { archive_read_free(handle); }
};
using ArchiveHandle = std::unique_ptr<archive, ArchiveClose>;

Error refused(std::string why, std::string_view where = {}) {
  // Names come from the archive: only their beginning is repeated.
  return {ErrorCode::kInvalid, std::move(why), std::string(where.substr(0, 100))};
}

bool is_safe_path(std::string_view path) {
  if (path.empty() || path.size() > limits::kPackagePathBytesMax || path.front() == '/' ||
      path.find('\\') != std::string_view::npos || path.find(':') != std::string_view::npos ||
      std::any_of(path.begin(), path.end(), [](char c) { return c >= 0 && c < ' '; })) {
    return false;
  }
  while (!path.empty()) {
    const std::size_t slash = path.find('/');
    if (path.substr(0, slash) == "..") {
      return false;
    }
    path = slash == std::string_view::npos ? std::string_view() : path.substr(slash + 1);
  }
  return true;
}

// The name within the package of a file that may hold a definition; empty for all others. Old
// packages put folders where they should not be, so only what is known not to be one is left out.
std::string_view definition_name(std::string_view path) {
  while (path.starts_with("./")) {
    path.remove_prefix(2);
  }
  if (!path.ends_with(".json") || path.ends_with(".index.json")) {
    return {};
  }
  if (path.starts_with("package/")) {
    path.remove_prefix(8);
  }
  for (const std::string_view folder :
       {"example", "other/", "openapi/", "xml/", "rdf/", "tests/"}) {
    if (path.starts_with(folder) && path.find('/') != std::string_view::npos) {
      return {};
    }
  }
  return path;
}

class PackageReader {
 public:
  explicit PackageReader(std::string_view tgz) : tgz_(tgz) {}

  Result<FhirPackage> read() {
    if (tgz_.size() > limits::kPackageBytesMax) {
      return Error(ErrorCode::kLimit, "the package is larger than packages may be");
    }
    if (!tgz_.starts_with("\x1f\x8b")) {
      return refused("the file is not a gzipped tar archive (.tgz)");
    }
    handle_.reset(archive_read_new());
    archive_read_support_filter_gzip(handle_.get());
    archive_read_support_format_tar(handle_.get());
    if (archive_read_open_memory(handle_.get(), tgz_.data(), tgz_.size()) != ARCHIVE_OK) {
      return refused("the file is not a gzipped tar archive (.tgz)");
    }
    while (true) {
      archive_entry* entry = nullptr;
      const int status = archive_read_next_header(handle_.get(), &entry);
      if (status == ARCHIVE_EOF) {
        break;
      }
      if (status != ARCHIVE_OK) {
        return refused("the archive is damaged");
      }
      Result<void> taken = take(entry);
      if (!taken) {
        return std::move(taken).error();
      }
    }
    return describe();
  }

 private:
  Result<void> take(archive_entry* entry) {
    const char* raw = archive_entry_pathname(entry);
    const std::string path = raw != nullptr ? raw : "";
    if (!is_safe_path(path)) {
      return refused("the archive holds a path that leaves it or cannot be read", path);
    }
    const auto kind = archive_entry_filetype(entry);
    if (kind == AE_IFDIR) {
      return count_entry();
    }
    if (kind != AE_IFREG || archive_entry_hardlink(entry) != nullptr ||
        archive_entry_symlink(entry) != nullptr) {
      return refused("the archive holds a link or a device; packages hold files only", path);
    }
    Result<void> counted = count_entry();
    if (!counted) {
      return counted;
    }
    std::string bytes;
    const std::string_view name = definition_name(path);
    Result<void> read = read_bytes(name.empty() ? nullptr : &bytes, path);
    if (!read || name.empty()) {
      return read;
    }
    if (name == "package.json") {
      if (!manifest_.empty()) {
        return refused("the archive holds two package.json files", path);
      }
      manifest_ = std::move(bytes);
      return {};
    }
    package_.files.push_back({std::string(name), std::move(bytes)});
    return {};
  }

  Result<void> count_entry() {
    if (++entries_ > limits::kPackageFilesMax) {
      return Error(ErrorCode::kLimit, "the package holds more files than packages may hold");
    }
    return {};
  }

  // Reads the entry's data; keeps it only where asked to.
  Result<void> read_bytes(std::string* keep, std::string_view path) {
    std::size_t size = 0;
    while (true) {
      const void* block = nullptr;
      std::size_t length = 0;
      la_int64_t offset = 0;
      const int status = archive_read_data_block(handle_.get(), &block, &length, &offset);
      if (status == ARCHIVE_EOF) {
        return {};
      }
      if (status != ARCHIVE_OK) {
        return refused("the archive is damaged", path);
      }
      if (offset != static_cast<la_int64_t>(size)) {
        return refused("the archive holds a file with holes; packages hold whole files", path);
      }
      size += length;
      total_ += length;
      if (size > limits::kPackageFileBytesMax || total_ > limits::kPackageUnpackedBytesMax ||
          total_ > tgz_.size() * limits::kPackageRatioMax + limits::kPackageRatioSlackBytes) {
        return Error(ErrorCode::kLimit, "the package unpacks to more than packages may hold",
                     std::string(path.substr(0, 100)));
      }
      if (keep != nullptr) {
        keep->append(static_cast<const char*>(block), length);
      }
    }
  }

  Result<FhirPackage> describe() {
    if (manifest_.empty()) {
      return refused("the archive has no package/package.json; it is not a FHIR package");
    }
    const json::NameTable names;
    json::Document document(names);
    Result<void> parsed = document.parse(manifest_);
    if (!parsed || !document.root()->is_object()) {
      return refused("package.json is not a JSON object", "package.json");
    }
    const json::Node& root = *document.root();
    package_.name = root.string_at("name");
    package_.version = root.string_at("version");
    package_.canonical = root.string_at("canonical");
    if (package_.name.empty() || package_.version.empty() ||
        (package_.name + package_.version).find_first_of(" \n\t#/\\") != std::string::npos) {
      return refused("package.json needs a name and a version", "package.json");
    }
    for (const std::string_view member : {"fhirVersions", "fhir-version-list"}) {
      if (const json::Node* versions = root.find(member); versions != nullptr) {
        for (const json::Node& version : *versions) {
          package_.fhir_versions.emplace_back(version.text());
        }
      }
    }
    if (const json::Node* dependencies = root.find("dependencies")) {
      for (const json::Node& dependency : *dependencies) {
        package_.dependencies.emplace_back(dependency.name_text(), dependency.text());
      }
    }
    const auto& versions = package_.fhir_versions;
    if (!versions.empty() && std::none_of(versions.begin(), versions.end(),
                                          [](const auto& v) { return v.starts_with("4.0"); })) {
      return Error(ErrorCode::kUnsupported,
                   "the package is for FHIR " + versions.front().substr(0, 20) +
                       "; this engine reads packages for FHIR 4.0",
                   package_.id());
    }
    std::sort(package_.files.begin(), package_.files.end(),
              [](const auto& a, const auto& b) { return a.name < b.name; });
    return std::move(package_);
  }

  std::string_view tgz_;
  ArchiveHandle handle_;
  std::size_t entries_ = 0;
  std::size_t total_ = 0;
  std::string manifest_;
  FhirPackage package_;
};

}  // namespace

std::vector<std::string> FhirPackage::dependency_ids() const {
  std::vector<std::string> ids;
  for (const auto& [dependency, wanted] : dependencies) {
    ids.push_back(dependency + "#" + wanted);
  }
  return ids;
}

Result<FhirPackage> read_package(std::string_view tgz) {
  return PackageReader(tgz).read();
}

std::vector<IndexEntry> index_package(const FhirPackage& package) {
  const json::NameTable names;
  json::Document document(names);
  std::vector<IndexEntry> index;
  for (const base::SourceFile& file : package.files) {
    if (!document.parse(file.bytes) || !document.root()->is_object()) {
      continue;
    }
    const json::Node& root = *document.root();
    IndexEntry entry;
    entry.file = file.name;
    entry.resource_type = root.string_at("resourceType");
    if (entry.resource_type.empty()) {
      continue;
    }
    entry.id = root.string_at("id");
    entry.url = root.string_at("url");
    entry.version = root.string_at("version");
    if (entry.version.empty() && !entry.url.empty()) {
      entry.version = package.version;
    }
    if (entry.resource_type == "StructureDefinition") {
      entry.kind = root.string_at("kind");
      entry.type = root.string_at("type");
    }
    index.push_back(std::move(entry));
  }
  return index;
}

}  // namespace engine::shapes

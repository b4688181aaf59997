// Packages, good and hostile. Archives are made here, byte by byte where no tool would make them.

#include "engine/shapes/package.h"

#include <archive.h>
#include <archive_entry.h>
#include <gtest/gtest.h>

#include "engine/base/limits.h"
#include "engine/shapes/compile.h"
#include "engine/shapes/dependencies.h"
#include "tests/shapes/published_facts.h"

namespace engine::shapes {
namespace {

namespace limits = base::limits;

class Tgz {
 public:
  Tgz() : handle_(archive_write_new()), buffer_(std::size_t{1} << 20, '\0') {
    archive_write_add_filter_gzip(handle_);
    archive_write_set_format_pax_restricted(handle_);
    archive_write_open_memory(handle_, buffer_.data(), buffer_.size(), &used_);
  }
  Tgz& add(const std::string& path, const std::string& bytes, unsigned type = AE_IFREG,
           const std::string& link = "") {
    archive_entry* entry = archive_entry_new();
    archive_entry_set_pathname(entry, path.c_str());
    archive_entry_set_filetype(entry, type);
    archive_entry_set_perm(entry, 0644);
    archive_entry_set_size(entry, static_cast<la_int64_t>(bytes.size()));
    if (!link.empty() && type == AE_IFLNK) {
      archive_entry_set_symlink(entry, link.c_str());
    } else if (!link.empty()) {
      archive_entry_set_hardlink(entry, link.c_str());
    }
    archive_write_header(handle_, entry);
    archive_write_data(handle_, bytes.data(), bytes.size());
    archive_entry_free(entry);
    return *this;
  }
  std::string bytes() {
    archive_write_close(handle_);
    archive_write_free(handle_);
    return buffer_.substr(0, used_);
  }

 private:
  archive* handle_;
  std::string buffer_;
  std::size_t used_ = 0;
};

std::string manifest(const std::string& more = "") {
  return R"({"name":"x.example","version":"1.0.0","fhirVersions":["4.0.1"])" + more + "}";
}

std::string error_of(const std::string& tgz) {
  const base::Result<FhirPackage> package = read_package(tgz);
  return package ? "(read)" : package.error().text();
}

TEST(Package, IsReadWithItsNameDependenciesAndDefinitions) {
  const std::string tgz =
      Tgz()
          .add("package/package.json", manifest(R"(,"dependencies":{"hl7.fhir.r4.core":"4.0.1"})"))
          .add("package/b.json", R"({"resourceType":"ValueSet","url":"http://x/b","id":"b"})")
          .add("package/a.json", R"({"resourceType":"ValueSet","url":"http://x/a","version":"2"})")
          .add("package/.index.json", "not even json")
          .add("package/example/c.json", R"({"resourceType":"Patient"})")
          .add("package/examples/d.json", R"({"resourceType":"Patient"})")
          .add("package/other/e.json", "{}")
          .add("package/readme.txt", "x")
          .bytes();
  const base::Result<FhirPackage> package = read_package(tgz);
  ASSERT_TRUE(package.has_value()) << package.error().text();
  EXPECT_EQ(package->id(), "x.example#1.0.0");
  ASSERT_EQ(package->files.size(), 2U);
  EXPECT_EQ(package->files[0].name, "a.json");
  EXPECT_EQ(package->dependency_ids(), std::vector<std::string>{"hl7.fhir.r4.core#4.0.1"});
  const std::vector<IndexEntry> index = index_package(*package);
  ASSERT_EQ(index.size(), 2U);
  EXPECT_EQ(index[0].version, "2");
  EXPECT_EQ(index[1].version, "1.0.0");  // the package's, where the resource has none
}

TEST(Package, ThatIsHostileIsRefusedPlainly) {
  const std::string good = Tgz().add("package/package.json", manifest()).bytes();
  std::string noise;  // does not pack, so that a cut falls into the file's content
  for (std::uint32_t i = 0, x = 1; i < 300'000; ++i) {
    x = x * 1664525U + 1013904223U;
    noise += static_cast<char>(x >> 24);
  }
  const std::string large =
      Tgz().add("package/package.json", manifest()).add("package/a.json", noise).bytes();
  const struct {
    const char* name;
    std::string tgz;
    const char* says;
  } rows[] = {
      {"empty", "", "not a gzipped tar"},
      {"zip", "PK\x03\x04 and more", "not a gzipped tar"},
      {"gzip magic only", "\x1f\x8b", "not a gzipped tar"},
      {"cut in its first block", good.substr(0, good.size() / 2), "not a gzipped tar"},
      {"cut later", large.substr(0, large.size() / 2), "the archive is damaged"},
      {"no manifest", Tgz().add("package/a.json", "{}").bytes(), "no package/package.json"},
      {"manifest no JSON", Tgz().add("package/package.json", "{").bytes(), "not a JSON object"},
      {"manifest without name", Tgz().add("package/package.json", "{}").bytes(), "needs a name"},
      {"name with a path",
       Tgz().add("package/package.json", R"({"name":"../x","version":"1"})").bytes(),
       "needs a name"},
      {"two manifests",
       Tgz()
           .add("package/package.json", manifest())
           .add("package/package.json", manifest())
           .bytes(),
       "two package.json"},
      {"traversal", Tgz().add("package/../../etc/passwd", "x").bytes(), "path that leaves it"},
      {"traversal at the end", Tgz().add("package/..", "x").bytes(), "path that leaves it"},
      {"absolute", Tgz().add("/etc/passwd", "x").bytes(), "path that leaves it"},
      {"backslash", Tgz().add("package\\..\\x.json", "x").bytes(), "path that leaves it"},
      {"drive", Tgz().add("C:/x.json", "x").bytes(), "path that leaves it"},
      {"symbolic link", Tgz().add("package/a.json", "", AE_IFLNK, "/etc/passwd").bytes(),
       "a link or a device"},
      {"hard link",
       Tgz().add("package/b", "x").add("package/a.json", "", AE_IFREG, "package/b").bytes(),
       "a link or a device"},
      {"device", Tgz().add("package/a.json", "", AE_IFCHR).bytes(), "a link or a device"},
      {"pipe", Tgz().add("package/a.json", "", AE_IFIFO).bytes(), "a link or a device"},
      {"other FHIR version",
       Tgz()
           .add("package/package.json", R"({"name":"x","version":"1","fhirVersions":["5.0.0"]})")
           .bytes(),
       "for FHIR 5.0.0"},
      {"bomb",
       Tgz()
           .add("package/package.json", manifest())
           .add("package/a.json", std::string(std::size_t{24} << 20, ' '))
           .bytes(),
       "unpacks to more"}};
  for (const auto& row : rows) {
    EXPECT_NE(error_of(row.tgz).find(row.says), std::string::npos)
        << row.name << ": " << error_of(row.tgz);
  }
}

TEST(Package, PathsAndFilesAreCountedAtTheirLimits) {
  const std::string longest(limits::kPackagePathBytesMax - std::string("package/.json").size(),
                            'a');
  const auto with_path = [](const std::string& name) {
    return Tgz()
        .add("package/package.json", manifest())
        .add("package/" + name + ".json", "{}")
        .bytes();
  };
  EXPECT_EQ(error_of(with_path(longest.substr(1))), "(read)");
  EXPECT_EQ(error_of(with_path(longest)), "(read)");
  EXPECT_NE(error_of(with_path(longest + "a")), "(read)");
}

TEST(Package, UnpackedSizeIsBoundedByTheRatioToThePackedOne) {
  // Just inside the slack a tiny archive may hold what it likes; far past it, not.
  const auto with_size = [](std::size_t bytes) {
    return Tgz()
        .add("package/package.json", manifest())
        .add("package/a.json", std::string(bytes, ' '))
        .bytes();
  };
  EXPECT_EQ(error_of(with_size(limits::kPackageRatioSlackBytes)), "(read)");
  EXPECT_NE(error_of(with_size(limits::kPackageRatioSlackBytes * 20)), "(read)");
}

FhirPackage package(const std::string& name, const std::string& version,
                    std::vector<std::pair<std::string, std::string>> dependencies) {
  FhirPackage made;
  made.name = name;
  made.version = version;
  made.dependencies = std::move(dependencies);
  return made;
}

std::string ordered(const std::vector<FhirPackage>& packages) {
  const PackageOrder order = order_packages(packages, r4());
  std::string text;
  for (const FhirPackage* each : order.packages) {
    text += each->id() + " ";
  }
  for (const fhir::Issue& issue : order.issues) {
    text += issue.severity == fhir::Severity::kError ? "E " : "W ";
  }
  return text;
}

TEST(Dependencies, ComeFirst) {
  EXPECT_EQ(ordered({package("b", "1.0.0", {{"a", "1.0.x"}, {"hl7.fhir.r4.core", "4.0.1"}}),
                     package("a", "1.0.2", {}), package("a", "1.0.10", {})}),
            "a#1.0.10 b#1.0.0 a#1.0.2 ");
  EXPECT_EQ(ordered({package("a", "1.0.0", {{"gone", "1.0.0"}})}), "a#1.0.0 W ");
}

TEST(Dependencies, ThatCannotBeMetAreSaid) {
  EXPECT_EQ(
      ordered({package("a", "1.0.0", {{"b", "1.0.0"}}), package("b", "1.0.0", {{"a", "1.0.0"}})}),
      "E ");
  EXPECT_EQ(ordered({package("a", "1.0.0", {{"b", "latest"}})}), "E ");
  EXPECT_EQ(ordered({package("a", "1.0.0", {{"b", "current"}}), package("c", "1.0.0", {})}),
            "c#1.0.0 E ");
  EXPECT_EQ(ordered({package("a", "1.0.0", {}), package("a", "1.0.0", {})}), "a#1.0.0 E ");
}

TEST(Dependencies, VersionsAreExactButForThePatch) {
  const struct {
    const char* version;
    const char* wanted;
    bool answers;
  } rows[] = {{"4.0.1", "4.0.1", true},  {"4.0.1", "4.0.x", true},  {"4.1.0", "4.0.x", false},
              {"4.0.1", "4.0", false},   {"4.0.1", "4.0.2", false}, {"4.0.1.1", "4.0.x", false},
              {"4.0.10", "4.0.1", false}};
  for (const auto& row : rows) {
    EXPECT_EQ(version_answers(row.version, row.wanted), row.answers)
        << row.version << " " << row.wanted;
  }
}

TEST(CompiledPackage, IsWhatTheCatalogReadsBack) {
  FhirPackage made = package("x.example", "1.0.0", {{"hl7.fhir.r4.core", "4.0.1"}});
  made.files.push_back({"p.json", R"({"resourceType":"StructureDefinition",
    "url":"http://x.example/p","name":"P","kind":"resource","type":"Patient","derivation":
    "constraint","baseDefinition":"http://hl7.org/fhir/StructureDefinition/Patient",
    "differential":{"element":[{"path":"Patient.birthDate","min":1}]}})"});
  const CompiledPackage compiled = compile_package(made, r4());
  EXPECT_TRUE(compiled.issues.empty());
  ASSERT_EQ(compiled.files.size(), 1U);
  EXPECT_EQ(compiled.files[0].name, "profiles.facts");
  const std::unique_ptr<Catalog> catalog = new_r4();
  EXPECT_TRUE(catalog->add(compiled.files).empty());
  const Shape* shape = catalog->find_shape("http://x.example/p|1.0.0");  // the package's version
  ASSERT_NE(shape, nullptr);
  EXPECT_EQ(shape->package, "x.example#1.0.0");
  EXPECT_TRUE(catalog->has_package("x.example#1.0.0"));
}

}  // namespace
}  // namespace engine::shapes

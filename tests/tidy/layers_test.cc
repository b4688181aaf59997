// Which folder may include what: the one table, and every include held against it.

#include <algorithm>
#include <filesystem>
#include <map>
#include <set>

#include <gtest/gtest.h>

#include "tests/tidy/source_tree.h"

namespace tidy {
namespace {

using Row = std::set<std::string>;

const std::map<std::string, Row>& layers() {
  static const std::map<std::string, Row> table = {
      {"base", {}},
      {"json", {"base"}},
      {"ucum", {"base"}},
      {"fhir", {"json", "base"}},
      {"shapes", {"fhir", "json", "base"}},
      {"fhirpath", {"shapes", "fhir", "ucum", "json", "base"}},
      {"check", {"fhirpath", "shapes", "fhir", "ucum", "json", "base"}},
      {"mapping", {"fhirpath", "shapes", "fhir", "ucum", "json", "base"}},
      {"therapy", {"mapping", "check", "fhirpath", "shapes", "fhir", "ucum", "json", "base"}},
      {"journal", {"base"}},
      {"delivery", {"journal", "fhir", "json", "base"}},
      {"intake", {"therapy", "journal", "fhir", "json", "base"}},
      {"replay", {"intake", "delivery", "therapy", "journal", "fhir", "json", "base"}},
      {"people", {"base"}},
      {"web", {"people", "replay", "intake", "delivery", "journal", "fhir", "json", "base"}},
      {"cli",
       {"web", "people", "replay", "intake", "delivery", "journal", "therapy", "mapping", "check",
        "fhirpath", "shapes", "fhir", "ucum", "json", "base"}},
  };
  return table;
}

const Row kCore = {"base",     "json",  "ucum",    "fhir",   "shapes",
                   "fhirpath", "check", "mapping", "therapy"};

// Start of an include -> the folders whose .cc files may have it.
const std::map<std::string, Row>& third_parties() {
  static const std::map<std::string, Row> table = {
      {"rapidjson/", {"json"}},
      {"openssl/", {"base", "delivery", "web"}},
      {"re2/", {"fhir", "fhirpath"}},
      {"archive", {"shapes"}},
      {"gmp", {"ucum"}},
      {"mpfr.h", {"ucum"}},
      {"boost/asio", {"delivery", "intake", "replay", "web", "cli"}},
      {"boost/beast", {"delivery", "web"}},
      {"sodium.h", {"people"}},
      {"sqlite3.h", {"journal"}},
      {"libpq-fe.h", {"journal"}},
      {"zstd.h", {"journal"}},
      {"pugixml.hpp", {"cli"}},
      {"CLI/", {"cli"}},
      {"toml++/", {"cli"}},
      {"spdlog/", {"delivery", "intake", "replay", "web", "cli"}},
  };
  return table;
}

TEST(Layers, EveryFolderOfTheEngineHasARow) {
  std::set<std::string> there;
  for (const auto& entry : std::filesystem::directory_iterator("engine")) {
    if (entry.is_directory()) {
      there.insert(entry.path().filename().string());
    }
  }
  for (const std::string& folder : there) {
    EXPECT_TRUE(layers().contains(folder)) << "engine/" << folder;
  }
}

TEST(Layers, TheTableHasNoCycle) {
  for (const auto& [folder, row] : layers()) {
    for (const std::string& below : row) {
      EXPECT_FALSE(layers().at(below).contains(folder)) << folder << " and " << below;
      for (const std::string& further : layers().at(below)) {
        EXPECT_TRUE(row.contains(further) ||
                    (folder == "intake" || folder == "replay" || folder == "web"))
            << folder << " reaches " << further << " through " << below;
      }
    }
  }
}

TEST(Layers, IncludesStayInTheirRow) {
  for (const SourceFile& file : read_tree({"engine"}, {".h", ".cc"})) {
    const std::string folder = engine_folder(file.path);
    for (const std::string& line : file.lines) {
      const std::string path = included(line);
      const std::string other = engine_folder(path);
      if (!path.starts_with("engine/") && !path.starts_with("sandbox/") &&
          !path.starts_with("tests/")) {
        continue;
      }
      EXPECT_TRUE(!other.empty() && (other == folder || layers().at(folder).contains(other)))
          << file.path << " includes " << path;
    }
  }
}

TEST(Layers, TheCoreHasNoClockThreadFileOrSocket) {
  const std::set<std::string> outside = {"thread",     "filesystem",   "fstream",  "iostream",
                                         "random",     "sys/socket.h", "unistd.h", "fcntl.h",
                                         "sys/stat.h", "ctime",        "time.h"};
  for (const SourceFile& file : read_tree({"engine"}, {".h", ".cc"})) {
    if (!kCore.contains(engine_folder(file.path))) {
      continue;
    }
    for (const std::string& line : file.lines) {
      const std::string path = included(line);
      EXPECT_FALSE(outside.contains(path) || path.starts_with("boost/"))
          << file.path << " includes " << path;
      for (const char* word : {"system_clock::now", "steady_clock::now", "std::rand", "getenv"}) {
        EXPECT_EQ(line.find(word), std::string::npos) << file.path << ": " << line;
      }
    }
  }
}

TEST(Layers, LibrariesStayWhereTheyBelong) {
  for (const SourceFile& file : read_tree({"engine"}, {".h", ".cc"})) {
    for (const std::string& line : file.lines) {
      const std::string path = included(line);
      for (const auto& [library, folders] : third_parties()) {
        if (!path.starts_with(library)) {
          continue;
        }
        EXPECT_TRUE(folders.contains(engine_folder(file.path)))
            << file.path << " includes " << path;
        EXPECT_FALSE(file.path.ends_with(".h") && path.starts_with("boost/"))
            << file.path << ": Asio and Beast stay out of headers";
      }
    }
  }
}

}  // namespace
}  // namespace tidy

// Style that a machine can hold: widths, lengths, words.

#include <algorithm>
#include <array>
#include <filesystem>
#include <fstream>
#include <sstream>

#include <gtest/gtest.h>

#include "engine/base/utf8.h"
#include "tests/tidy/source_tree.h"

namespace tidy {
namespace {

constexpr std::size_t kColumnsMax = 100;
constexpr std::size_t kFileLinesMax = 800;
constexpr std::size_t kFunctionLinesMax = 70;

const std::vector<SourceFile>& sources() {
  static const std::vector<SourceFile> files =
      read_tree({"engine", "sandbox", "tests"}, {".h", ".cc"});
  return files;
}

TEST(Style, LinesFitTheWidth) {
  for (const SourceFile& file : sources()) {
    for (std::size_t i = 0; i < file.lines.size(); ++i) {
      // A literal or a URL may not be broken without harm.
      const std::string& line = file.lines[i];
      const bool literal =
          line.find('"') != std::string::npos || line.find("http") != std::string::npos;
      EXPECT_TRUE(literal || engine::base::count_scalars(line) <= kColumnsMax)
          << file.path << ':' << i + 1;
    }
  }
}

TEST(Style, FilesAreOfReadableLength) {
  for (const SourceFile& file : sources()) {
    EXPECT_LE(file.lines.size(), kFileLinesMax) << file.path;
  }
}

// A function outside a class starts at the margin with a line that ends in "{" and ends with a "}"
// at the margin.
TEST(Style, FunctionsFitOnAScreen) {
  for (const SourceFile& file : read_tree({"engine", "sandbox"}, {".cc"})) {
    std::size_t open = 0;
    for (std::size_t i = 0; i < file.lines.size(); ++i) {
      const std::string& line = file.lines[i];
      const bool margin = !line.empty() && line[0] != ' ' && line[0] != '#' && line[0] != '/';
      const bool type = line.starts_with("namespace") || line.starts_with("struct") ||
                        line.starts_with("class") || line.starts_with("enum") ||
                        line.starts_with("const") || line.starts_with("extern") ||
                        line.find("= {") != std::string::npos;
      if (margin && line.ends_with(") {") && !type) {
        open = i + 1;
      } else if (line == "}" && open != 0) {
        EXPECT_LE(i + 2 - open, kFunctionLinesMax) << file.path << ':' << open;
        open = 0;
      }
    }
  }
}

struct Banned {
  std::string_view word;
  std::string_view instead;
};
// Written apart, so that this table does not find itself.
constexpr std::array kBanned = {
    Banned{"TO"
           "DO",
           "do it, or leave it out"},
    Banned{"FIX"
           "ME",
           "fix it"},
    Banned{"for "
           "now",
           "say what is so"},
    Banned{"using namespace "
           "std;",
           "name what is used"},
    Banned{"const_"
           "cast<std::string",
           "take a copy"},
    Banned{"std::"
           "endl",
           "'\\n'"},
    Banned{"reinterpret_cast<const "
           "unsigned",
           "base/hash.h or a span of bytes"},
};

TEST(Style, BannedWordsStayOut) {
  auto files = read_tree({"engine", "sandbox", "tests", "mappings", "docs"},
                         {".h", ".cc", ".md", ".map", ".py", ".txt"});
  for (const SourceFile& file : files) {
    for (std::size_t i = 0; i < file.lines.size(); ++i) {
      for (const Banned& banned : kBanned) {
        const std::size_t at = file.lines[i].find(banned.word);
        // "for now()" speaks of a function.
        const bool call =
            at != std::string::npos &&
            std::string_view(file.lines[i]).substr(at + banned.word.size()).starts_with('(');
        EXPECT_TRUE(at == std::string::npos || call)
            << file.path << ':' << i + 1 << " has '" << banned.word << "': " << banned.instead;
      }
    }
  }
}

TEST(Style, TypesAreNamedForWhatTheyAre) {
  for (const SourceFile& file : read_tree({"engine", "sandbox"}, {".h", ".cc"})) {
    for (const std::string& line : file.lines) {
      std::istringstream words(line);
      std::string keyword;
      std::string name;
      words >> keyword >> name;
      if (keyword != "class" && keyword != "struct") {
        continue;
      }
      name = name.substr(0, name.find_first_of(" ;:{"));
      for (const char* ending : {"Manager", "Helper", "Util", "Utils", "Processor", "Service"}) {
        EXPECT_FALSE(name.ends_with(ending)) << file.path << ": " << name;
      }
    }
  }
}

// GCC 12 miscompiles some expressions around co_await: temporaries that are braced, "?:", capturing
// lambdas.
TEST(Style, AwaitedExpressionsAreSimple) {
  for (const SourceFile& file : read_tree({"engine", "sandbox"}, {".h", ".cc"})) {
    for (std::size_t i = 0; i < file.lines.size(); ++i) {
      const std::string& line = file.lines[i];
      const std::size_t await = line.find("co_await ");
      if (await == std::string::npos || line.find("//") < await) {
        continue;
      }
      const std::string rest = line.substr(await);
      EXPECT_EQ(rest.find(" ? "), std::string::npos) << file.path << ':' << i + 1;
      EXPECT_EQ(rest.find("[&"), std::string::npos) << file.path << ':' << i + 1;
      EXPECT_EQ(rest.find("[="), std::string::npos) << file.path << ':' << i + 1;
    }
  }
}

std::string read_text(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

TEST(Style, TheMapsOfFoldersAreTrue) {
  const std::string readme = read_text("README.md");
  const std::string architecture = read_text("docs/architecture.md");
  for (const auto& entry : std::filesystem::directory_iterator("engine")) {
    if (entry.is_directory()) {
      const std::string name = entry.path().filename().string();
      EXPECT_NE(architecture.find("| `" + name + "` |"), std::string::npos) << name;
      EXPECT_NE(readme.find(name), std::string::npos) << name;
    }
  }
  for (const auto& entry : std::filesystem::directory_iterator(".")) {
    const std::string name = entry.path().filename().string();
    if (entry.is_directory() && name[0] != '.' && !name.starts_with("build")) {
      EXPECT_NE(readme.find("| `" + name + "/` |"), std::string::npos) << name;
    }
  }
}

}  // namespace
}  // namespace tidy

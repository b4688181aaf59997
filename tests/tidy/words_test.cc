// Words, paths and shapes of lines that have no place in the tree.

#include <algorithm>
#include <regex>
#include <string>

#include <gtest/gtest.h>

#include "tests/tidy/source_tree.h"

namespace tidy {
namespace {

struct Ban {
  std::string pattern;  // written apart, so that this table does not find itself
  std::string why;
};

void hold(const std::vector<SourceFile>& files, const std::vector<Ban>& bans) {
  for (const Ban& ban : bans) {
    const std::regex pattern(ban.pattern);
    for (const SourceFile& file : files) {
      for (std::size_t i = 0; i < file.lines.size(); ++i) {
        EXPECT_FALSE(std::regex_search(file.lines[i], pattern))
            << file.path << ':' << i + 1 << ": " << ban.why << ": " << file.lines[i];
      }
    }
  }
}

// A tree stands by itself: nothing points at the place where it was written.
TEST(Words, NothingPointsOutsideTheTree) {
  const std::vector<std::string> endings = {".h",   ".cc",  ".md", ".map",  ".py", ".txt",  ".ts",
                                            ".tsx", ".mjs", ".js", ".json", ".sh", ".cmake"};
  hold(read_tree({"engine", "sandbox", "tests", "mappings", "docs", "profiles/therapy",
                  "profiles/session"},
                 endings),
       {{"(^|[\"' (=])/wo"
         "rk/",
         "a path of one machine"},
        {"/tm"
         "p/(w|wt)/",
         "a path of one machine"},
        {"/ho"
         "me/[a-z]",
         "a path of one machine"}});
  hold(read_tree({"engine", "mappings", "docs"}, endings),
       {{"\\.\\./sha"
         "red/",
         "only tests may read what lies beside the tree"}});
}

TEST(Words, TasksAreNeverLetLoose) {
  // A task that nobody owns outlives what it uses.
  hold(read_tree({"engine", "sandbox"}, {".h", ".cc"}),
       {{"\\bdetach"
         "ed\\b",
         "every task belongs to a group that reports"},
        {"\\.det"
         "ach\\(\\)",
         "every thread is joined"}});
}

TEST(Words, AwaitedCallsTakeNamedValues) {
  // g++ 12.2 miscompiles a braced temporary with a non-trivial member as an argument.
  hold(read_tree({"engine", "sandbox"}, {".h", ".cc"}),
       {{"^[^/\"]*co_await [^;\"]*\\([^;\"]*[A-Za-z>]\\{", "name the value first, then await"}});
}

TEST(Words, HeadersAreIncludedOnce) {
  for (const SourceFile& file : read_tree({"engine", "sandbox", "tests"}, {".h"})) {
    const bool guarded =
        std::any_of(file.lines.begin(), file.lines.end(),
                    [](const std::string& line) { return line == "#pragma once"; });
    EXPECT_TRUE(guarded) << file.path;
  }
}

TEST(Words, FilesHaveNoTabsNoTrailingBlanksAndEndInALineBreak) {
  for (const SourceFile& file : read_tree({"engine", "sandbox", "tests"}, {".h", ".cc", ".py"})) {
    for (std::size_t i = 0; i < file.lines.size(); ++i) {
      const std::string& line = file.lines[i];
      EXPECT_EQ(line.find('\t'), std::string::npos) << file.path << ':' << i + 1;
      EXPECT_FALSE(!line.empty() && (line.back() == ' ' || line.back() == '\r'))
          << file.path << ':' << i + 1;
    }
  }
}

// Functions inside classes and namespaces of one level: opened and closed at the same indentation.
TEST(Words, MembersFitOnAScreenToo) {
  constexpr std::size_t kFunctionLinesMax = 70;
  static const std::regex kOpens(R"(^ {2,4}[A-Za-z].*\)( const| noexcept| override)* \{$)");
  static const std::regex kBlock(
      R"(^ *(if|for|while|switch|else|do|try|catch|return|namespace|TEST)\b)");
  for (const SourceFile& file : read_tree({"engine", "sandbox"}, {".h", ".cc"})) {
    for (std::size_t i = 0; i < file.lines.size(); ++i) {
      const std::string& line = file.lines[i];
      // A lambda as an argument closes otherwise and belongs to its function.
      if (!std::regex_search(line, kOpens) || std::regex_search(line, kBlock) ||
          line.find("](") != std::string::npos) {
        continue;
      }
      const std::string close = line.substr(0, line.find_first_not_of(' ')) + "}";
      std::size_t end = i + 1;
      while (end < file.lines.size() && file.lines[end] != close) {
        ++end;
      }
      EXPECT_LE(end + 1 - i, kFunctionLinesMax) << file.path << ':' << i + 1;
    }
  }
}

}  // namespace
}  // namespace tidy

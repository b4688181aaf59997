// docs/mapping-guide.md is run as it stands: every block of shell in order, in an empty folder, and
// the block behind it is what it prints, so that the page cannot say what the program does not do.

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include <gtest/gtest.h>

#include "tests/cli/program.h"

namespace cli_test {
namespace {

namespace fs = std::filesystem;

constexpr const char* kGuide = "docs/mapping-guide.md";

std::string text_of(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::stringstream text;
  text << file.rdbuf();
  return text.str();
}

// A fenced block of a Markdown page.
struct Block {
  std::string kind;  // what stands behind the fence: "sh", "json", "sh repository", or nothing
  std::string text;
  std::size_t line = 0;  // of the fence
  std::string shown;     // the block right behind it, when that is what it prints
  bool is_shell() const { return kind.starts_with("sh"); }
};

std::vector<Block> blocks_of(const std::string& page) {
  std::vector<Block> blocks;
  bool inside = false;
  bool adjacent = false;  // only empty lines since the last block
  std::size_t number = 0;
  for (const std::string& line : lines_of(page)) {
    ++number;
    if (line.starts_with("```")) {
      if (!inside) {
        const Block* before = adjacent && !blocks.empty() ? &blocks.back() : nullptr;
        const bool shows = before != nullptr && before->is_shell() && line.substr(3) != "sh";
        blocks.push_back({shows ? "shown" : line.substr(3), {}, number, {}});
      } else if (blocks.back().kind == "shown") {
        const std::string text = blocks.back().text;
        blocks.pop_back();
        blocks.back().shown = text;
      }
      inside = !inside;
      adjacent = !inside;
    } else if (inside) {
      blocks.back().text += line + "\n";
    } else {
      adjacent = adjacent && line.empty();
    }
  }
  EXPECT_FALSE(inside) << "a fence is left open";
  return blocks;
}

class MappingGuide : public ::testing::Test {
 protected:
  void SetUp() override {
    std::string name = ::testing::TempDir() + "chartferry-guide-XXXXXX";
    root_ = ::mkdtemp(name.data());
    fs::create_directories(root_ / "bin");
    fs::create_directories(root_ / "empty");
    fs::create_symlink(fs::absolute(CHARTFERRY_PROGRAM), root_ / "bin" / "chartferry");
    folder_ = root_ / "empty";
  }
  void TearDown() override {
    std::error_code ignored;
    fs::remove_all(root_, ignored);
  }

  // As if pasted into one shell: the folder that a block goes to is where the next one begins.
  Answer paste(const Block& block) {
    const bool here = block.kind == "sh repository";
    const fs::path script = root_ / "block.sh";
    std::ofstream(script) << "cd '" << (here ? fs::current_path() : folder_).string()
                          << "' || exit 9\n"
                          << block.text << "rc=$?\n"
                          << "pwd > '" << (root_ / "folder").string() << "'\nexit $rc\n";
    const std::string command = "PATH='" + (root_ / "bin").string() + "':\"$PATH\" bash '" +
                                script.string() + "' > '" + (root_ / "said").string() +
                                "' 2>&1 < /dev/null";
    Answer answer;
    answer.status = std::system(command.c_str());
    answer.out = text_of(root_ / "said");
    if (!here) {
      std::string folder = text_of(root_ / "folder");
      folder_ = folder.substr(0, folder.find('\n'));
    }
    return answer;
  }

  fs::path root_;
  fs::path folder_;
};

TEST_F(MappingGuide, EveryBlockDoesWhatThePageShows) {
  std::size_t ran = 0;
  std::size_t compared = 0;
  for (const Block& block : blocks_of(text_of(kGuide))) {
    if (!block.is_shell()) {
      continue;
    }
    ++ran;
    const Answer answer = paste(block);
    EXPECT_EQ(answer.status, 0) << kGuide << ":" << block.line << "\n" << answer.out;
    if (!block.shown.empty()) {
      ++compared;
      EXPECT_EQ(answer.out, block.shown) << kGuide << ":" << block.line;
    }
  }
  EXPECT_GE(ran, 8U);
  EXPECT_GE(compared, 5U);
}

// The list of the page against the program: what is not there is told apart from what is used
// wrongly.
TEST_F(MappingGuide, NamesTransformsThatThereAre) {
  const std::string page = text_of(kGuide);
  const std::size_t begin = page.find("Transforms: `");
  ASSERT_NE(begin, std::string::npos);
  std::string list = page.substr(begin, page.find("`. ", begin) - begin);
  std::size_t names = 0;
  for (std::size_t at = list.find('`'); at != std::string::npos; at = list.find('`', at + 1)) {
    const std::size_t end = list.find('`', at + 1);
    const std::string name = list.substr(at + 1, end - at - 1);
    at = end == std::string::npos ? list.size() : end;
    const fs::path map = root_ / "one.map";
    std::ofstream(map) << "/// url = \"https://example.org/StructureMap/one\"\n/// name = \"one\"\n"
                          "group one(source s, target t) { s.a as v -> t.b = "
                       << name << "(v, v, v, v, v, v, v); }\n";
    const Answer answer = run_program({"map", "lint", map.string()});
    EXPECT_EQ(answer.err.find("there is no transform"), std::string::npos) << name << answer.err;
    ++names;
  }
  EXPECT_EQ(names, 21U);
}

TEST_F(MappingGuide, ABlockThatSaysSomethingElseIsFound) {
  const std::vector<Block> blocks =
      blocks_of("text\n```sh\necho one\n```\n\n```\ntwo\n```\nmore\n```json\n{}\n```\n");
  ASSERT_EQ(blocks.size(), 2U);
  EXPECT_EQ(blocks[0].shown, "two\n");
  EXPECT_EQ(paste(blocks[0]).out, "one\n");
  EXPECT_FALSE(blocks[1].is_shell());
}

}  // namespace
}  // namespace cli_test

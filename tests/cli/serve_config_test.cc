// What `chartferry serve` says to a configuration that it cannot use: the place, what was found,
// what is allowed. None of these gets as far as opening a journal.

#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include "tests/cli/program.h"

namespace cli_test {
namespace {

struct Row {
  std::string line;
  std::string said;
};

TEST(ServeConfig, RefusesWhatATargetCannotHave) {
  const std::string file = ::testing::TempDir() + "chartferry-serve-config.toml";
  const std::vector<Row> table = {
      {"in-flight = 0", "'in-flight' is a number from 1 to 64 (" + file + ":5:13)"},
      {"in-flight = 65", "'in-flight' is a number from 1 to 64"},
      {"in-flight = 2.5", "'in-flight' is a number from 1 to 64"},
      {"in-flight = \"4\"", "'in-flight' is a number from 1 to 64"},
      {"requests-per-second = 0", "'requests-per-second' is a number from 0.01 to 10000"},
      {"requests-per-second = 0.009", "'requests-per-second' is a number from 0.01 to 10000"},
      {"requests-per-second = 10001", "'requests-per-second' is a number from 0.01 to 10000"},
      {"requests-per-second = nan", "'requests-per-second' is a number from 0.01 to 10000"},
      {"requests-per-second = true", "'requests-per-second' is a number from 0.01 to 10000"},
      {"requests_per_second = 3", "there is no setting 'requests_per_second'"},
  };
  for (const Row& row : table) {
    std::ofstream(file) << "journal = \"/nonexistent/journal\"\n[[target]]\nname = \"main\"\n"
                        << "url = \"http://127.0.0.1:1/fhir\"\n"
                        << row.line << "\n";
    const Answer answer = run_program({"serve", "--config", file});
    EXPECT_EQ(answer.status, 2) << row.line;
    EXPECT_NE(answer.err.find(row.said), std::string::npos) << row.line << ": " << answer.err;
  }
  std::filesystem::remove(file);
}

// Nobody writes into it: whoever waited for that would wait without a word.
TEST(ServeConfig, RefusesAPipeWhereAFileIsMeant) {
  const std::string folder = ::testing::TempDir() + "chartferry-pipe-" + std::to_string(::getpid());
  std::filesystem::create_directories(folder);
  const std::string pipe = folder + "/pipe";
  ASSERT_EQ(::mkfifo(pipe.c_str(), 0600), 0);
  const std::string server = "https://127.0.0.1:1/fhir";
  const auto serving = [&](std::vector<std::string> more) {
    more.insert(more.begin(), {"serve", "--listen", "127.0.0.1:0", "--target", server, "--journal",
                               folder + "/journal"});
    return more;
  };
  for (const std::vector<std::string>& arguments :
       {std::vector<std::string>{"serve", "--config", pipe},
        std::vector<std::string>{"session", pipe}, std::vector<std::string>{"session", folder},
        serving({"--key", pipe}), serving({"--journal-key", pipe}), serving({"--people", pipe}),
        std::vector<std::string>{"preflight", server, "--authorization-file", pipe},
        std::vector<std::string>{"preflight", server, "--ca", pipe}}) {
    const Answer answer = run_program(arguments);
    EXPECT_EQ(answer.status, 2) << arguments.front();
    EXPECT_NE(answer.err.find("this is no regular file (" + arguments.back() + ")"),
              std::string::npos)
        << answer.err;
  }
  const std::string in_memory = "/dev/shm/chartferry-pipe-" + std::to_string(::getpid());
  ASSERT_EQ(::mkfifo(in_memory.c_str(), 0600), 0);
  EXPECT_EQ(run_program({"session", in_memory}).status, 2);
  EXPECT_EQ(run_program({"session", "/dev/fd/../shm/" + in_memory.substr(9)}).status, 2);
  std::filesystem::remove(in_memory);
  EXPECT_EQ(run_program({"session", "/dev/stdin"}, "{}").status, 1) << "that is read as it was";
  std::filesystem::remove_all(folder);
}

TEST(ServeConfig, RefusesMasterKeysThatAreNoFiles) {
  const std::string file = ::testing::TempDir() + "chartferry-serve-master.toml";
  const std::vector<Row> table = {
      {"journal-key = 7",
       "'journal-key' is a text in quotes, or a list of them (" + file + ":1:15)"},
      {"journal-key = \"\"", "'journal-key' is a text in quotes"},
      {"journal-key = []", "'journal-key' is a text in quotes"},
      {"journal-key = [\"/nonexistent/a\", 7]", "'journal-key' is a text in quotes"},
      {"journal-key = \"/nonexistent/master\"", "is not there (/nonexistent/master)"},
      {"journal-key = [\"/nonexistent/a\", \"/nonexistent/b\"]", "(/nonexistent/a)"},
      {"journal-key = \"credential:none\"", "(credential:none)"},
  };
  for (const Row& row : table) {
    std::ofstream(file) << row.line << "\njournal = \"" << file << "/journal\"\n"
                        << "[[target]]\nurl = \"http://127.0.0.1:1/fhir\"\n";
    const Answer answer = run_program({"serve", "--config", file});
    EXPECT_EQ(answer.status, 2) << row.line;
    EXPECT_NE(answer.err.find(row.said), std::string::npos) << row.line << ": " << answer.err;
  }
  std::filesystem::remove(file);
}

TEST(ServeConfig, TreeHeadsGoToFilesOrHttpsAddressesOrStayOnThisMachine) {
  const std::string file = ::testing::TempDir() + "chartferry-serve-anchor.toml";
  const std::string journal = file + "/journal";
  const std::vector<Row> table = {
      {"anchor = 7", "'anchor' is a text in quotes, or a list of them"},
      {"anchor = [\"/mnt/heads\", \"\"]", "'anchor' is a text in quotes, or a list of them"},
      {"anchor = \"http://notary.example/heads\"", "tree heads go to an https:// address"},
      {"anchor = [\"/mnt/heads\", \"http://10.0.0.1/\"]", "tree heads go to an https:// address"},
      {"anchor = [\"/mnt/heads\", \"https://notary.example/heads\", \"http://127.0.0.1:9/\"]",
       journal},
  };
  for (const Row& row : table) {
    std::ofstream(file) << row.line << "\n";
    const Answer answer = run_program(
        {"serve", "--config", file, "--journal", journal, "--target", "http://127.0.0.1:1/fhir"});
    EXPECT_EQ(answer.status, 2) << row.line;
    EXPECT_NE(answer.err.find(row.said), std::string::npos) << row.line << ": " << answer.err;
  }
  std::filesystem::remove(file);
}

TEST(ServeConfig, RefusesABacklogThatCannotBe) {
  const std::string file = ::testing::TempDir() + "chartferry-serve-backlog.toml";
  for (const char* value : {"0", "10000001", "-1", "\"many\""}) {
    std::ofstream(file) << "backlog-max = " << value << "\n";
    const Answer answer = run_program({"serve", "--config", file});
    EXPECT_EQ(answer.status, 2) << value;
    EXPECT_NE(answer.err.find("'backlog-max' is a number from 1 to 10000000 (" + file + ":1:15)"),
              std::string::npos)
        << answer.err;
  }
  std::filesystem::remove(file);
}

TEST(ServeConfig, RefusesHostsThatAreNoNames) {
  const std::string file = ::testing::TempDir() + "chartferry-serve-hosts.toml";
  const std::vector<Row> table = {
      {"hosts = 7", "'hosts' is a text in quotes, or a list of them (" + file + ":1:9)"},
      {"hosts = []", "'hosts' is a text in quotes"},
      {"hosts = [\"ward.example\", 7]", "'hosts' is a text in quotes"},
      {"hosts = \"ward.example:8080\"", "without a port (ward.example:8080)"},
      {"hosts = [\"[::1]\", \"http://ward.example\"]", "without a port (http://ward.example)"},
      {"hosts = \"::1\"", "without a port (::1)"},
      {"hosts = \"*.example\"", "without a port (*.example)"},
  };
  for (const Row& row : table) {
    std::ofstream(file) << row.line << "\njournal = \"/nonexistent/journal\"\n"
                        << "[[target]]\nurl = \"http://127.0.0.1:1/fhir\"\n";
    const Answer answer = run_program({"serve", "--config", file});
    EXPECT_EQ(answer.status, 2) << row.line;
    EXPECT_NE(answer.err.find(row.said), std::string::npos) << row.line << ": " << answer.err;
  }
  std::filesystem::remove(file);
}

TEST(ServeConfig, AnAuthorizationFileIsOneLine) {
  const std::string file = ::testing::TempDir() + "chartferry-authorization";
  for (const std::string& bad : {std::string("Bearer a\nX-More: 1\n"), std::string("Bearer a\rb"),
                                 std::string("Bearer a\0b", 10), std::string("Bearer\ta")}) {
    std::ofstream(file) << bad;
    ASSERT_EQ(::chmod(file.c_str(), 0600), 0);
    const Answer answer =
        run_program({"preflight", "http://127.0.0.1:1/fhir", "--authorization-file", file});
    EXPECT_NE(answer.status, 0) << bad;
    EXPECT_NE(answer.err.find("holds one line"), std::string::npos) << bad << answer.err;
    EXPECT_EQ(answer.err.find("Bearer"), std::string::npos) << "what it holds is not told";
  }
  std::filesystem::remove(file);
}

TEST(ServeConfig, AnAuthorizationFileIsNobodyElses) {
  const std::string file = ::testing::TempDir() + "chartferry-authorization-rights";
  std::ofstream(file) << "Bearer a\n";
  for (const mode_t mode : {0604U, 0602U, 0620U, 0666U, 0640U, 0400U}) {
    ASSERT_EQ(::chmod(file.c_str(), mode), 0);
    const Answer answer =
        run_program({"preflight", "http://127.0.0.1:1/fhir", "--authorization-file", file});
    const bool refused = answer.err.find("chmod 640 (" + file + ")") != std::string::npos;
    EXPECT_EQ(refused, mode != 0640 && mode != 0400) << mode << answer.err;
  }
  std::filesystem::remove(file);
}

TEST(ServeConfig, NoticesGoToAnHttpsAddressOrStayOnThisMachine) {
  const std::string file = ::testing::TempDir() + "chartferry-serve-notices.toml";
  // Under a file no journal can be made, also not by root.
  const std::string journal = file + "/journal";
  const std::vector<Row> table = {
      {"notices = \"https://gateway.example\"", "as [notices] (" + file + ":1:11)"},
      {"[notices]", "[notices] needs a 'url'"},
      {"[notices]\nuri = \"https://gateway.example\"", "there is no setting 'uri'"},
      {"[notices]\nurl = 7", "'url' is a text in quotes"},
      {"[notices]\nurl = \"http://gateway.example/outcomes\"", "notices go to an https:// address"},
      {"[notices]\nurl = \"http://127.gateway.example/\"", "notices go to an https:// address"},
      {"[notices]\nurl = \"http://10.0.0.1/\"", "notices go to an https:// address"},
      {"[notices]\nurl = \"ftp://127.0.0.1/\"", "ftp://127.0.0.1/"},
      {"[notices]\nurl = \"https://gateway.example/?patient=1\"", "?patient=1"},
  };
  for (const Row& row : table) {
    std::ofstream(file) << row.line << "\n";
    const Answer answer = run_program(
        {"serve", "--config", file, "--journal", journal, "--target", "http://127.0.0.1:1/fhir"});
    EXPECT_EQ(answer.status, 2) << row.line;
    EXPECT_NE(answer.err.find(row.said), std::string::npos) << row.line << ": " << answer.err;
  }
  // What is allowed comes as far as the journal, which cannot be.
  for (const char* url : {"https://gateway.example/outcomes", "http://127.0.0.1:9/outcomes",
                          "http://[::1]:9", "http://localhost:9/"}) {
    std::ofstream(file) << "[notices]\nurl = \"" << url << "\"\n";
    const Answer answer = run_program(
        {"serve", "--config", file, "--journal", journal, "--target", "http://127.0.0.1:1/fhir"});
    EXPECT_EQ(answer.status, 2) << url;
    EXPECT_NE(answer.err.find(journal), std::string::npos) << url << answer.err;
  }
  std::filesystem::remove(file);
}

}  // namespace
}  // namespace cli_test

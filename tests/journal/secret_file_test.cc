// Key files: what is read, what is made, and what is refused before anybody waits for it.

#include "engine/journal/secret_file.h"

#include <filesystem>
#include <fstream>
#include <string>

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

namespace engine::journal {
namespace {

namespace fs = std::filesystem;

class SecretFile : public ::testing::Test {
 protected:
  void SetUp() override {
    folder_ = ::testing::TempDir() + "chartferry-secret-file-" + std::to_string(::getpid());
    fs::remove_all(folder_);
    fs::create_directories(folder_);
  }
  void TearDown() override { fs::remove_all(folder_); }
  std::string at(const std::string& name) const { return folder_ + "/" + name; }

  std::string folder_;
  const std::string secret_ = std::string(32, 'k');
};

TEST_F(SecretFile, IsMadeOnceAndReadThroughALink) {
  ASSERT_EQ(*load_secret(at("key"), secret_), secret_);
  EXPECT_EQ(*load_secret(at("key"), std::string(32, 'o')), secret_) << "it was there";
  // As a credential may be handed over.
  fs::create_symlink(at("key"), at("link"));
  EXPECT_EQ(*load_secret(at("link"), ""), secret_);
  EXPECT_EQ(load_secret(at("none"), "").error().code, base::ErrorCode::kNotFound);
}

// Nobody writes into the pipe: whoever opened it to read would wait without a word.
TEST_F(SecretFile, IsARegularFile) {
  ASSERT_EQ(::mkfifo(at("pipe").c_str(), 0600), 0);
  fs::create_symlink(at("pipe"), at("link"));
  for (const std::string& path : {at("pipe"), at("link"), folder_}) {
    for (const std::string& random : {std::string(), secret_}) {
      const auto refused = load_secret(path, random);
      ASSERT_FALSE(refused.has_value()) << path;
      EXPECT_EQ(refused.error().code, base::ErrorCode::kIo) << path;
      EXPECT_EQ(refused.error().detail, "cannot read the key file: this is no regular file");
      EXPECT_EQ(refused.error().where, path);
    }
  }
  EXPECT_TRUE(fs::is_fifo(at("pipe"))) << "it is left as it was";
}

TEST_F(SecretFile, IsNobodyElses) {
  ASSERT_TRUE(load_secret(at("key"), secret_).has_value());
  fs::create_symlink(at("key"), at("link"));
  for (const int mode : {0666, 0644, 0640, 0620, 0601}) {
    ASSERT_EQ(::chmod(at("key").c_str(), static_cast<mode_t>(mode)), 0);
    for (const std::string& path : {at("key"), at("link")}) {
      const auto refused = load_secret(path, secret_);
      ASSERT_FALSE(refused.has_value()) << mode;
      EXPECT_EQ(refused.error().code, base::ErrorCode::kInvalid);
      EXPECT_NE(refused.error().detail.find("chmod 600"), std::string::npos);
    }
    EXPECT_EQ(*load_secret(at("key"), "", Guard::kFolder), secret_);
  }
  ASSERT_EQ(::chmod(at("key").c_str(), 0400), 0);
  EXPECT_EQ(*load_secret(at("key"), ""), secret_);
}

TEST_F(SecretFile, HoldsSixtyFourDigits) {
  for (const std::string& text : {std::string(), std::string("\n"), std::string(63, 'a'),
                                  std::string(65, 'a'), std::string(64, 'g')}) {
    std::ofstream(at("bad"), std::ios::trunc) << text;
    ASSERT_EQ(::chmod(at("bad").c_str(), 0600), 0);
    EXPECT_EQ(load_secret(at("bad"), secret_).error().code, base::ErrorCode::kInvalid) << text;
  }
}

}  // namespace
}  // namespace engine::journal

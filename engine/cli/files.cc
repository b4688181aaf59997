#include "engine/cli/files.h"

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <system_error>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "engine/cli/read_file.h"

namespace engine::cli {

using base::Error;
using base::ErrorCode;
using base::Result;
namespace fs = std::filesystem;

namespace {

struct FileClose {
  void operator()(std::FILE* file) const { std::fclose(file); }
};
using FileHandle = std::unique_ptr<std::FILE, FileClose>;

}  // namespace

Result<std::vector<base::SourceFile>> read_folder(const std::string& path,
                                                  std::size_t file_bytes_max) {
  std::error_code problem;
  fs::recursive_directory_iterator at(path, problem);
  if (problem) {
    return Error(ErrorCode::kIo, "the folder cannot be read", path);
  }
  std::vector<base::SourceFile> files;
  for (; at != fs::recursive_directory_iterator(); at.increment(problem)) {
    if (problem) {
      return Error(ErrorCode::kIo, "the folder cannot be read", path);
    }
    const fs::path& entry = at->path();
    if (entry.filename().string().starts_with(".") || at->is_symlink() || !at->is_regular_file()) {
      continue;
    }
    Result<std::string> bytes = read_file(entry.string(), file_bytes_max);
    if (!bytes) {
      return std::move(bytes).error();
    }
    files.push_back({entry.lexically_relative(path).generic_string(), std::move(*bytes)});
  }
  std::sort(files.begin(), files.end(),
            [](const auto& a, const auto& b) { return a.name < b.name; });
  return files;
}

namespace {

Result<void> write(const std::string& path, std::string_view bytes, mode_t mode) {
  std::error_code problem;
  const std::string beside = path + ".part";
  fs::remove(beside, problem);  // with other rights, of a program that ended in the middle
  const int fd = ::open(beside.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, mode);
  FileHandle file(fd >= 0 ? ::fdopen(fd, "wb") : nullptr);
  if (file == nullptr) {
    return Error(ErrorCode::kIo, "the file cannot be written", path);
  }
  const bool written = std::fwrite(bytes.data(), 1, bytes.size(), file.get()) == bytes.size() &&
                       std::fflush(file.get()) == 0;
  file.reset();
  if (!written) {
    fs::remove(beside, problem);
    return Error(ErrorCode::kIo, "the file cannot be written", path);
  }
  fs::rename(beside, path, problem);
  if (problem) {
    return Error(ErrorCode::kIo, "the file cannot be written", path);
  }
  return {};
}

}  // namespace

Result<void> write_file(const std::string& path, std::string_view bytes) {
  std::error_code problem;
  const fs::path target(path);
  if (target.has_parent_path()) {
    fs::create_directories(target.parent_path(), problem);
  }
  return write(path, bytes, 0666);
}

Result<void> write_private_file(const std::string& path, std::string_view bytes) {
  const fs::path target(path);
  if (target.has_parent_path()) {
    if (auto made = make_private_folder(target.parent_path().string()); !made) {
      return made;
    }
  }
  return write(path, bytes, 0600);
}

Result<void> make_private_folder(const std::string& path) {
  fs::path made;
  for (const fs::path& step : fs::path(path)) {
    made /= step;
    std::error_code problem;
    if (::mkdir(made.c_str(), 0700) != 0 && !fs::is_directory(made, problem)) {
      return Error(ErrorCode::kIo, "the folder cannot be made", path);
    }
  }
  return {};
}

}  // namespace engine::cli

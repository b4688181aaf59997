#include "engine/cli/files.h"

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <system_error>

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

Result<void> write_file(const std::string& path, std::string_view bytes) {
  std::error_code problem;
  const fs::path target(path);
  if (target.has_parent_path()) {
    fs::create_directories(target.parent_path(), problem);
  }
  const std::string beside = path + ".part";
  FileHandle file(std::fopen(beside.c_str(), "wb"));
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
  fs::rename(beside, target, problem);
  if (problem) {
    return Error(ErrorCode::kIo, "the file cannot be written", path);
  }
  return {};
}

}  // namespace engine::cli

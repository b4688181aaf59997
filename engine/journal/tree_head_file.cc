#include <array>
#include <cerrno>
#include <cstdio>
#include <memory>
#include <utility>

#include <fcntl.h>
#include <unistd.h>

#include "engine/base/limits.h"
#include "engine/journal/tree_head.h"

namespace engine::journal {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

// The bytes of a file, none when there is no such file.
Result<std::string> whole_file(const std::string& path) {
  const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  if (fd < 0 && errno == ENOENT) {
    return std::string();
  }
  if (fd < 0) {
    return Error(ErrorCode::kIo, "the tree heads cannot be read", path);
  }
  std::string text;
  std::array<char, 65536> block{};
  ssize_t n = 0;
  while ((n = ::read(fd, block.data(), block.size())) > 0 &&
         text.size() <= base::limits::kStoredBytesMax) {
    text.append(block.data(), static_cast<std::size_t>(n));
  }
  ::close(fd);
  if (n < 0) {
    return Error(ErrorCode::kIo, "the tree heads cannot be read", path);
  }
  if (text.size() > base::limits::kStoredBytesMax) {
    return Error(ErrorCode::kLimit, "the file of tree heads is too long", path);
  }
  return text;
}

// A line that a power loss cut short is taken away; it was never acknowledged to anybody.
bool drop_half_line(int fd, off_t size) {
  char c = 0;
  while (size > 0 && ::pread(fd, &c, 1, size - 1) == 1 && c != '\n') {
    --size;
  }
  return (size == 0 || c == '\n') && ::ftruncate(fd, size) == 0;
}

}  // namespace

Result<std::vector<TreeHead>> read_tree_heads(const std::string& path) {
  auto text = whole_file(path);
  if (!text) {
    return std::move(text).error();
  }
  std::vector<TreeHead> heads;
  std::string_view rest = *text;
  std::size_t line = 0;
  for (std::size_t end = rest.find('\n'); end != std::string_view::npos; end = rest.find('\n')) {
    auto head = parse_tree_head(rest.substr(0, end));
    ++line;
    if (!head) {
      return Error(head.error().code, head.error().detail, path + ":" + std::to_string(line));
    }
    heads.push_back(std::move(*head));
    rest.remove_prefix(end + 1);
  }
  return heads;
}

Result<void> append_tree_head(const std::string& path, const TreeHead& head) {
  const Error failed(ErrorCode::kIo, "the tree head cannot be written", path);
  const int fd = ::open(path.c_str(), O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0644);
  if (fd < 0) {
    return failed;
  }
  const std::string line = print_tree_head(head);
  const off_t size = ::lseek(fd, 0, SEEK_END);
  const bool good = size >= 0 && drop_half_line(fd, size) &&
                    ::write(fd, line.data(), line.size()) == static_cast<ssize_t>(line.size()) &&
                    ::fsync(fd) == 0;
  ::close(fd);
  if (!good) {
    return failed;
  }
  return {};
}

}  // namespace engine::journal

#include <array>
#include <cerrno>
#include <cstdio>
#include <system_error>
#include <utility>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "engine/base/limits.h"
#include "engine/journal/open_file.h"
#include "engine/journal/tree_head.h"

namespace engine::journal {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

// Years of heads; an engine thins them out at its start (kHeadsMax).
constexpr std::size_t kHeadsBytesMax = 4 * base::limits::kStoredBytesMax;
constexpr std::string_view kNoRegularFile = "this is no regular file";
constexpr std::size_t kNoHeadsMax = 16;  // lines that are kept to be named

// To be written. Does not wait for the other end of a pipe: whoever signs the heads would wait with
// it. Goes along no link: an anchor lies where others write, who could have any file of the
// engine's written over. -1 with errno, which is ENOTSUP for what is no regular file.
int open_to_write(const std::string& path, int flags) {
  const int fd = ::open(path.c_str(), flags | O_CREAT | O_CLOEXEC | O_NONBLOCK | O_NOFOLLOW, 0644);
  struct stat kind {};
  if (fd < 0 || (::fstat(fd, &kind) == 0 && S_ISREG(kind.st_mode))) {
    return fd;
  }
  ::close(fd);
  errno = ENOTSUP;
  return -1;
}

std::string why_not_opened(int problem) {
  return problem == ENOTSUP || problem == ELOOP ? std::string(kNoRegularFile)
         : problem == EINVAL                    ? "its last line is no tree head"
                                                : std::generic_category().message(problem);
}

// The bytes of a file, none when there is no such file.
Result<std::string> whole_file(const std::string& path) {
  const auto fd = open_to_read(path);
  if (!fd && fd.error().code == ErrorCode::kNotFound) {
    return std::string();
  }
  if (!fd) {
    return Error(ErrorCode::kIo, "the tree heads cannot be read: " + fd.error().detail, path);
  }
  std::string text;
  std::array<char, 65536> block{};
  ssize_t n = 0;
  while ((n = ::read(*fd, block.data(), block.size())) > 0 && text.size() <= kHeadsBytesMax) {
    text.append(block.data(), static_cast<std::size_t>(n));
  }
  ::close(*fd);
  if (n < 0) {
    return Error(ErrorCode::kIo, "the tree heads cannot be read", path);
  }
  if (text.size() > kHeadsBytesMax) {
    return Error(ErrorCode::kLimit, "the file of tree heads is too long", path);
  }
  return text;
}

// A line that a power loss cut short is taken away; it was never acknowledged to anybody. What does
// not begin as a head does is somebody else's: false, with errno EINVAL.
bool drop_half_line(int fd, off_t whole) {
  constexpr std::string_view kBegin = "size=";
  char c = 0;
  off_t size = whole;
  while (size > 0 && ::pread(fd, &c, 1, size - 1) == 1 && c != '\n') {
    --size;
  }
  if (size > 0 && c != '\n') {
    return false;
  }
  std::array<char, kBegin.size()> begin{};
  const ssize_t n = ::pread(fd, begin.data(), begin.size(), size);
  // Some file systems have zeros then, where a length reached the disk before what was written.
  const bool is_torn =
      n <= 0 || begin[0] == '\0' ||
      kBegin.starts_with(std::string_view(begin.data(), static_cast<std::size_t>(n)));
  if (n < 0 || !is_torn) {
    errno = n < 0 ? errno : EINVAL;
    return false;
  }
  return size == whole || ::ftruncate(fd, size) == 0;
}

bool put(int fd, std::string_view text) {
  return ::write(fd, text.data(), text.size()) == static_cast<ssize_t>(text.size()) &&
         ::fsync(fd) == 0;
}

Error unwritten(const std::string& path, int problem) {
  return {ErrorCode::kIo,
          "the tree head cannot be written" +
              (problem != 0 ? ": " + why_not_opened(problem) : std::string()),
          path};
}

}  // namespace

Result<void> check_heads_file(const std::string& path) {
  struct stat kind {};
  if (::lstat(path.c_str(), &kind) == 0 && !S_ISREG(kind.st_mode)) {
    return Error(ErrorCode::kInvalid,
                 "tree heads cannot be kept here: " + std::string(kNoRegularFile), path);
  }
  return {};
}

Result<HeadsFile> read_tree_heads(const std::string& path) {
  auto text = whole_file(path);
  if (!text) {
    return std::move(text).error();
  }
  HeadsFile file;
  std::string_view rest = *text;
  std::size_t line = 0;
  for (std::size_t end = rest.find('\n'); end != std::string_view::npos; end = rest.find('\n')) {
    auto head = parse_tree_head(rest.substr(0, end));
    ++line;
    if (head) {
      file.heads.push_back(std::move(*head));
      file.lines.push_back(line);
    } else if (file.no_heads.size() < kNoHeadsMax) {
      file.no_heads.push_back({line, std::string(rest.substr(0, end))});
    }
    rest.remove_prefix(end + 1);
  }
  return file;
}

Result<void> append_tree_head(const std::string& path, const TreeHead& head) {
  const int fd = open_to_write(path, O_RDWR | O_APPEND);
  if (fd < 0) {
    return unwritten(path, errno);
  }
  const std::string line = print_tree_head(head);
  const off_t size = ::lseek(fd, 0, SEEK_END);
  errno = 0;
  const bool good = size >= 0 && drop_half_line(fd, size) && put(fd, line);
  const int problem = errno;
  ::close(fd);
  return good ? Result<void>() : unwritten(path, problem);
}

Result<void> write_tree_heads(const std::string& path, const std::vector<TreeHead>& heads) {
  std::string text;
  for (const TreeHead& head : heads) {
    text += print_tree_head(head);
  }
  const std::string beside = path + ".part";
  ::unlink(beside.c_str());
  const int fd = open_to_write(beside, O_WRONLY | O_EXCL);
  if (fd < 0) {
    return unwritten(path, errno);
  }
  errno = 0;
  const bool good = put(fd, text) && std::rename(beside.c_str(), path.c_str()) == 0;
  const int problem = errno;
  ::close(fd);
  if (!good) {
    ::unlink(beside.c_str());
    return unwritten(path, problem);
  }
  return {};
}

}  // namespace engine::journal

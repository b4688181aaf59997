#include "engine/journal/open_file.h"

#include <cerrno>
#include <string_view>
#include <system_error>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace engine::journal {
namespace {

// What a shell hands over as a name, "/dev/fd/63", may be a pipe: it is open already.
bool may_be_a_pipe(std::string_view path) {
  for (const std::string_view folder : {"/dev/fd/", "/proc/self/fd/"}) {
    if (path.starts_with(folder)) {
      return path.find_first_not_of("0123456789", folder.size()) == path.npos;
    }
  }
  return path == "/dev/stdin";
}

base::Error system_error(int reason, const std::string& path) {
  return {reason == ENOENT ? base::ErrorCode::kNotFound : base::ErrorCode::kIo,
          std::generic_category().message(reason), path};
}

}  // namespace

base::Result<int> open_to_read(const std::string& path) {
  const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NONBLOCK);
  if (fd < 0) {
    return system_error(errno, path);
  }
  struct stat kind {};
  if (::fstat(fd, &kind) != 0) {
    const int reason = errno;
    ::close(fd);
    return system_error(reason, path);
  }
  if (!S_ISREG(kind.st_mode) && !may_be_a_pipe(path)) {
    ::close(fd);
    return base::Error{base::ErrorCode::kIo, "this is no regular file", path};
  }
  ::fcntl(fd, F_SETFL, ::fcntl(fd, F_GETFL) & ~O_NONBLOCK);
  return fd;
}

}  // namespace engine::journal

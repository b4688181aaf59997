#include "engine/journal/file_lock.h"

#include <cerrno>
#include <cstdint>
#include <filesystem>
#include <mutex>
#include <set>
#include <system_error>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

namespace engine::journal {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

constexpr off_t kLockedByte = off_t{1} << 62;

// Files that this process has locked: opening one of them again, if only to see that it is locked,
// would cost SQLite its locks when that descriptor is closed.
struct Held {
  std::mutex mutex;
  std::set<std::pair<dev_t, ino_t>> files;
};
Held& held_here() {
  static Held held;
  return held;
}

Error another_engine(const std::string& path) {
  return {ErrorCode::kConflict, "another engine is running on this journal; end it first", path};
}

Error failed(const std::string& what, const std::string& path) {
  return {ErrorCode::kIo, what + ": " + std::generic_category().message(errno), path};
}

std::string real_path(const std::string& path) {
  std::error_code problem;
  const std::filesystem::path real = std::filesystem::weakly_canonical(path, problem);
  return problem ? path : real.string();
}

}  // namespace

Result<void> check_one_name(const std::string& path) {
  struct stat file {};
  if (::stat(path.c_str(), &file) == 0 && S_ISREG(file.st_mode) && file.st_nlink > 1) {
    return Error(ErrorCode::kConflict,
                 "the journal's file has a second name (a hard link): what is written under one is "
                 "not seen under the other; remove the other name",
                 path);
  }
  return {};
}

Result<FileLock> FileLock::take(const std::string& path) {
  FileLock lock;
  auto done = lock.lock_beside(real_path(path) + ".lock");
  if (done) {
    done = lock.lock_file(path);
  }
  if (done) {
    done = check_one_name(path);
  }
  if (!done) {
    return done.error();
  }
  return lock;
}

Result<void> FileLock::lock_beside(const std::string& path) {
  beside_ = ::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0600);
  if (beside_ < 0) {
    return failed("cannot open the journal's lock file", path);
  }
  return ::flock(beside_, LOCK_EX | LOCK_NB) == 0 ? Result<void>() : another_engine(path);
}

Result<void> FileLock::lock_file(const std::string& path) {
  const std::lock_guard guard(held_here().mutex);
  struct stat file {};
  if (::stat(path.c_str(), &file) == 0 && held_here().files.count({file.st_dev, file.st_ino}) > 0) {
    return another_engine(path);
  }
  const int fd = ::open(path.c_str(), O_RDWR | O_CREAT | O_CLOEXEC, 0600);
  if (fd < 0 || ::fstat(fd, &file) != 0) {
    const Error error = failed("the journal cannot be opened", path);
    if (fd >= 0) {
      ::close(fd);
    }
    return error;
  }
  struct flock byte {};
  byte.l_type = F_WRLCK;
  byte.l_whence = SEEK_SET;
  byte.l_start = kLockedByte;
  byte.l_len = 1;
  // A file system that has no such locks leaves the one beside.
  if (::fcntl(fd, F_OFD_SETLK, &byte) != 0 && (errno == EAGAIN || errno == EACCES)) {
    ::close(fd);
    return another_engine(path);
  }
  file_ = fd;
  device_ = file.st_dev;
  node_ = file.st_ino;
  held_here().files.emplace(device_, node_);
  return {};
}

FileLock& FileLock::operator=(FileLock&& other) noexcept {
  std::swap(beside_, other.beside_);
  std::swap(file_, other.file_);
  std::swap(device_, other.device_);
  std::swap(node_, other.node_);
  return *this;
}

FileLock::~FileLock() {
  if (file_ >= 0) {
    const std::lock_guard guard(held_here().mutex);
    held_here().files.erase({device_, node_});
    ::close(file_);
  }
  if (beside_ >= 0) {
    ::close(beside_);
  }
}

}  // namespace engine::journal

#include "engine/cli/people_file.h"

#include <cerrno>
#include <cstring>

#include <fcntl.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "engine/base/limits.h"
#include "engine/cli/read_file.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using people::People;

Error system_error(const std::string& what, const std::string& path) {
  return {ErrorCode::kIo, what + ": " + std::strerror(errno), path};
}

class Descriptor {
 public:
  explicit Descriptor(int number) : number_(number) {}
  ~Descriptor() {
    if (number_ >= 0) {
      ::close(number_);
    }
  }
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  int get() const { return number_; }

 private:
  int number_;
};

base::Result<People> read_people(const std::string& path) {
  // What is kept of a password can be guessed at leisure by whoever reads it.
  if (auto good = check_rights(path, "the people file"); !good) {
    return std::move(good).error();
  }
  const auto text = read_file(path, base::limits::kPeopleBytesMax);
  return text ? People::parse(*text, path) : base::Result<People>(text.error());
}

// The file under its lock, which goes with the descriptor.
base::Result<int> open_locked(const std::string& path, WhenMissing when_missing) {
  while (true) {
    const int flags = O_RDWR | O_CLOEXEC | (when_missing == WhenMissing::kMake ? O_CREAT : 0);
    const int number = ::open(path.c_str(), flags, 0600);
    if (number < 0) {
      return system_error("cannot open the people file", path);
    }
    struct stat mine {};
    struct stat there {};
    if (::flock(number, LOCK_EX) != 0 || ::fstat(number, &mine) != 0) {
      Error error = system_error("cannot lock the people file", path);
      ::close(number);
      return error;
    }
    if (::stat(path.c_str(), &there) == 0 && there.st_ino == mine.st_ino &&
        there.st_dev == mine.st_dev) {
      return number;
    }
    // Another change put a new file in its place while this one waited.
    ::close(number);
  }
}

base::Result<void> put_in_place(const std::string& path, const std::string& text,
                                const struct stat& old) {
  const std::string beside = path + ".new";
  const Descriptor file(::open(beside.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600));
  if (file.get() < 0) {
    return system_error("cannot write the people file", beside);
  }
  // Only root may give a file away; for others it was theirs before.
  const bool given = ::fchown(file.get(), old.st_uid, old.st_gid) == 0 || ::geteuid() != 0;
  if (!given || ::fchmod(file.get(), old.st_mode & 07777U) != 0 ||
      ::write(file.get(), text.data(), text.size()) != static_cast<ssize_t>(text.size()) ||
      ::fsync(file.get()) != 0 || ::rename(beside.c_str(), path.c_str()) != 0) {
    Error error = system_error("cannot write the people file", beside);
    ::unlink(beside.c_str());
    return error;
  }
  const std::size_t slash = path.rfind('/');
  const std::string folder = slash == std::string::npos ? "." : path.substr(0, slash + 1);
  const Descriptor directory(::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC));
  if (directory.get() < 0 || ::fsync(directory.get()) != 0) {
    return system_error("the people file is written, but perhaps not yet on the disk", path);
  }
  return {};
}

}  // namespace

base::Result<People> PeopleFile::load() {
  auto people = read_people(path_);
  seen_ = base::sha256(people ? people->print() : people.error().text());
  return people;
}

std::optional<base::Result<People>> PeopleFile::look() {
  const base::Digest before = seen_;
  auto people = load();
  return seen_ == before ? std::nullopt : std::optional(std::move(people));
}

base::Result<void> change_people(const std::string& path, WhenMissing when_missing,
                                 const std::function<base::Result<void>(People&)>& change) {
  const auto locked = open_locked(path, when_missing);
  if (!locked) {
    return locked.error();
  }
  const Descriptor file(*locked);
  struct stat facts {};
  if (::fstat(file.get(), &facts) != 0) {
    return system_error("cannot read the people file", path);
  }
  const bool fresh = facts.st_size == 0 && when_missing == WhenMissing::kMake;
  auto people = fresh ? base::Result<People>(People()) : read_people(path);
  auto done = people ? change(*people) : base::Result<void>(people.error());
  if (done) {
    done = put_in_place(path, people->print(), facts);
  }
  if (!done && fresh) {
    ::unlink(path.c_str());
  }
  return done;
}

}  // namespace engine::cli

// A world that fails: loaded before a program (LD_PRELOAD), it stands between the program and the
// C library and makes disk, network and clock fail at a step that was named beforehand. For tests
// only; the program under test is the very one that is shipped.
//
// A step is a call after which the outside may know more than before: fsync, fdatasync, rename,
// connect and sendmsg. Steps are counted from 1 over all threads. FAULTY_WORLD holds the faults,
// separated by ';':
//   kill=STEP            signal 9 just before the step is carried out
//   cut=STEP,SEED        the same as when the power fails: of what was written to the files since
//                        they were last synced, each sector of 512 bytes is there or not by the
//                        throw of SEED, then signal 9
//   full=STEP,COUNT      writes and growth of files fail with ENOSPC from this step for COUNT steps
//   unsynced=STEP,COUNT  fsync and fdatasync fail with EIO in these steps
//   clock=STEP,SECONDS   the clock of the day is set by so many seconds at this step
// FAULTY_FILES is the prefix of the files whose writes are watched; FAULTY_STEPS a file of two
// 64-bit numbers that the tester reads: the steps so far, and how many faults have come.
// Source of the model: SQLite's "Atomic Commit In SQLite", sections 2 and 9 (sectors of 512 bytes,
// no order of writes between syncs).

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <csignal>
#include <cstdint>
#include <cstdlib>
#include <cstring>
#include <ctime>
#include <map>
#include <mutex>
#include <random>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include <dlfcn.h>
#include <fcntl.h>
#include <sys/mman.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <unistd.h>

namespace {

constexpr off_t kSector = 512;

template <typename F>
F* real(const char* name) {
  return reinterpret_cast<F*>(::dlsym(RTLD_NEXT, name));
}

using File = std::pair<dev_t, ino_t>;

// What a write replaced.
struct Replaced {
  off_t at = 0;
  std::string before;  // may end early: the file was shorter
  std::size_t length = 0;
  off_t size_before = 0;
};

struct Fault {
  std::uint64_t step = 0;  // 0: never
  std::int64_t number = 0;
};

struct Seen {
  std::atomic<std::uint64_t> steps;
  std::atomic<std::uint64_t> fired;
};

// Lives until the process ends: other threads may still write while the program's own statics go.
struct World {
  Fault kill, cut, full, unsynced, clock;
  std::string files;
  Seen own{};
  Seen* seen = &own;
  std::mutex mutex;
  std::map<File, std::vector<Replaced>> pending;
  std::map<File, int> handles;  // one of ours for each, to put back what was there

  World() {
    const char* prefix = std::getenv("FAULTY_FILES");
    files = prefix != nullptr ? prefix : "";
    const char* list = std::getenv("FAULTY_WORLD");
    read(list != nullptr ? list : "");
    if (const char* name = std::getenv("FAULTY_STEPS")) {
      share(name);
    }
  }

  void read(std::string list) {
    for (std::size_t from = 0; from < list.size();) {
      const std::size_t end = std::min(list.find(';', from), list.size());
      const std::string one = list.substr(from, end - from);
      from = end + 1;
      const std::size_t equals = one.find('=');
      const std::string name = one.substr(0, equals);
      Fault* const fault = name == "kill"       ? &kill
                           : name == "cut"      ? &cut
                           : name == "full"     ? &full
                           : name == "unsynced" ? &unsynced
                           : name == "clock"    ? &clock
                                                : nullptr;
      if (fault == nullptr || equals == std::string::npos) {
        std::abort();  // a fault that nobody understands would be one that never comes
      }
      char* rest = nullptr;
      fault->step = std::strtoull(one.c_str() + equals + 1, &rest, 10);
      fault->number = *rest == ',' ? std::strtoll(rest + 1, nullptr, 10) : 0;
    }
  }

  void share(const char* name) {
    const int handle = ::open(name, O_RDWR | O_CLOEXEC);
    void* const place =
        ::mmap(nullptr, sizeof(Seen), PROT_READ | PROT_WRITE, MAP_SHARED, handle, 0);
    ::close(handle);
    if (place == MAP_FAILED) {
      std::abort();
    }
    seen = static_cast<Seen*>(place);
  }

  static bool in(const Fault& fault, std::uint64_t step) {
    return fault.step != 0 && step >= fault.step &&
           step < fault.step + static_cast<std::uint64_t>(std::max<std::int64_t>(fault.number, 1));
  }

  // The number of the step that is about to be taken; may not return.
  std::uint64_t step() {
    const std::uint64_t now = ++seen->steps;
    if (now == kill.step) {
      die();
    }
    if (now == cut.step) {
      cut_power();
    }
    return now;
  }

  [[noreturn]] void die() {
    ++seen->fired;
    ::raise(SIGKILL);
    std::abort();
  }

  [[noreturn]] void cut_power() {
    // The lock stays held: nothing is written any more.
    mutex.lock();
    std::mt19937_64 chance(static_cast<std::uint64_t>(cut.number));
    for (auto& [file, writes] : pending) {
      put_back(handles.at(file), writes, chance);
    }
    die();
  }

  // Newest first: a sector of which one version reached the disk keeps it.
  static void put_back(int handle, const std::vector<Replaced>& writes, std::mt19937_64& chance) {
    std::set<off_t> reached;
    off_t kept_end = 0;
    off_t first_size = -1;
    for (auto one = writes.rbegin(); one != writes.rend(); ++one) {
      first_size = one->size_before;
      const off_t end = one->at + static_cast<off_t>(one->length);
      for (off_t at = one->at; at < end;) {
        const off_t sector = at / kSector;
        const off_t next = std::min(end, (sector + 1) * kSector);
        if (!reached.contains(sector)) {
          if ((chance() & 1) != 0) {
            reached.insert(sector);
            kept_end = std::max(kept_end, next);
          } else {
            restore(handle, *one, at, next);
          }
        }
        at = next;
      }
    }
    if (first_size >= 0 && (chance() & 1) != 0) {
      static auto* const truncate = real<int(int, off_t)>("ftruncate64");
      truncate(handle, std::max(first_size, kept_end));
    }
  }

  static void restore(int handle, const Replaced& one, off_t from, off_t to) {
    static auto* const write = real<ssize_t(int, const void*, std::size_t, off_t)>("pwrite64");
    std::string bytes(static_cast<std::size_t>(to - from), '\0');
    const auto start = static_cast<std::size_t>(from - one.at);
    if (start < one.before.size()) {
      std::memcpy(bytes.data(), one.before.data() + start,
                  std::min(bytes.size(), one.before.size() - start));
    }
    if (write(handle, bytes.data(), bytes.size(), from) < 0) {
      std::abort();
    }
  }

  bool watched(int handle) const {
    if (files.empty()) {
      return false;
    }
    char name[4096];
    const std::string link = "/proc/self/fd/" + std::to_string(handle);
    const ssize_t length = ::readlink(link.c_str(), name, sizeof name);
    return length > 0 &&
           std::string_view(name, static_cast<std::size_t>(length)).starts_with(files);
  }

  void note(int handle, std::size_t length, off_t at) {
    struct stat what {};
    if (cut.step == 0 || ::fstat(handle, &what) != 0) {
      return;
    }
    Replaced one;
    one.at = at;
    one.length = length;
    one.size_before = what.st_size;
    one.before.resize(length);
    const std::lock_guard lock(mutex);
    const File file{what.st_dev, what.st_ino};
    if (!handles.contains(file)) {
      const std::string link = "/proc/self/fd/" + std::to_string(handle);
      handles[file] = ::open(link.c_str(), O_RDWR | O_CLOEXEC);
    }
    const ssize_t got = ::pread(handles[file], one.before.data(), length, at);
    one.before.resize(got > 0 ? static_cast<std::size_t>(got) : 0);
    pending[file].push_back(std::move(one));
  }

  void synced(int handle) {
    struct stat what {};
    if (cut.step != 0 && ::fstat(handle, &what) == 0) {
      const std::lock_guard lock(mutex);
      pending.erase({what.st_dev, what.st_ino});
    }
  }
};

World& world() {
  static auto* const one = new World;
  return *one;
}

// Whether a growing write fails now; errno says why.
bool fails(int handle) {
  World& here = world();
  if (!World::in(here.full, here.seen->steps) || !here.watched(handle)) {
    return false;
  }
  ++here.seen->fired;
  errno = ENOSPC;
  return true;
}

int sync_by(int (*carry_out)(int), int handle) {
  World& here = world();
  const std::uint64_t step = here.step();
  if (World::in(here.unsynced, step) && here.watched(handle)) {
    ++here.seen->fired;
    errno = EIO;
    return -1;
  }
  const int done = carry_out(handle);
  if (done == 0) {
    here.synced(handle);
  }
  return done;
}

ssize_t write_by(ssize_t (*carry_out)(int, const void*, std::size_t, off_t), int handle,
                 const void* bytes, std::size_t length, off_t at) {
  if (fails(handle)) {
    return -1;
  }
  if (world().watched(handle)) {
    world().note(handle, length, at);
  }
  return carry_out(handle, bytes, length, at);
}

}  // namespace

extern "C" {

int fsync(int handle) {
  static auto* const next = real<int(int)>("fsync");
  return sync_by(next, handle);
}

int fdatasync(int handle) {
  static auto* const next = real<int(int)>("fdatasync");
  return sync_by(next, handle);
}

ssize_t pwrite(int handle, const void* bytes, std::size_t length, off_t at) {
  static auto* const next = real<ssize_t(int, const void*, std::size_t, off_t)>("pwrite");
  return write_by(next, handle, bytes, length, at);
}

ssize_t pwrite64(int handle, const void* bytes, std::size_t length, off_t at) {
  static auto* const next = real<ssize_t(int, const void*, std::size_t, off_t)>("pwrite64");
  return write_by(next, handle, bytes, length, at);
}

int ftruncate64(int handle, off_t length) noexcept {
  static auto* const next = real<int(int, off_t)>("ftruncate64");
  return fails(handle) ? -1 : next(handle, length);
}

int rename(const char* from, const char* to) noexcept {
  static auto* const next = real<int(const char*, const char*)>("rename");
  world().step();
  return next(from, to);
}

int connect(int handle, const sockaddr* address, socklen_t length) {
  static auto* const next = real<int(int, const sockaddr*, socklen_t)>("connect");
  world().step();
  return next(handle, address, length);
}

ssize_t sendmsg(int handle, const msghdr* message, int flags) {
  static auto* const next = real<ssize_t(int, const msghdr*, int)>("sendmsg");
  world().step();
  return next(handle, message, flags);
}

int clock_gettime(clockid_t clock, timespec* time) noexcept {
  static auto* const next = real<int(clockid_t, timespec*)>("clock_gettime");
  const int done = next(clock, time);
  World& here = world();
  if (done == 0 && clock == CLOCK_REALTIME && here.clock.step != 0 &&
      here.seen->steps >= here.clock.step) {
    time->tv_sec += here.clock.number;
    static std::atomic_flag told;
    if (!told.test_and_set()) {
      ++here.seen->fired;
    }
  }
  return done;
}

}  // extern "C"

#pragma once
// The lock of an engine on its journal's file, whatever name the file was opened by: on a file
// beside the real one (links are followed), and on the file itself, so that a second name of it (a
// hard link) is no way round. Not for NFS without locks: there the first alone holds.
//
// The lock on the file lies on a byte far behind what SQLite locks. Its descriptor is opened before
// SQLite opens the file and closed after SQLite closed it: a process that closes any descriptor of
// a file loses all the locks that SQLite holds on it.

#include <string>
#include <utility>

#include <sys/types.h>

#include "engine/base/result.h"

namespace engine::journal {

class FileLock {
 public:
  FileLock() = default;
  // Makes the file, readable by its owner only, when there is none; one that is there keeps its
  // rights. Held until it goes; the system frees it when the process ends in whatever way. Errors:
  // kConflict when another engine holds it, or the file has a second name, under which SQLite would
  // not see what was written under the first; kIo.
  static base::Result<FileLock> take(const std::string& path);
  FileLock(FileLock&& other) noexcept { *this = std::move(other); }
  FileLock& operator=(FileLock&& other) noexcept;
  ~FileLock();
  FileLock(const FileLock&) = delete;
  FileLock& operator=(const FileLock&) = delete;
  bool held() const { return beside_ >= 0; }

 private:
  base::Result<void> lock_beside(const std::string& path);
  base::Result<void> lock_file(const std::string& path);

  int beside_ = -1;
  int file_ = -1;
  dev_t device_ = 0;
  ino_t node_ = 0;
};

// Whether the file has a second name. Errors: kConflict when it has.
base::Result<void> check_one_name(const std::string& path);

}  // namespace engine::journal

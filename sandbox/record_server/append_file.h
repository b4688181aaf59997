#pragma once
// Durability of the record server: one line of JSON for each committed unit of work, appended
// before it is answered.
//   [{"type":"Patient","id":"7","method":"POST","updated":"<instant>","resource":{...}},...]\n
// A deletion has no resource. A unit is there when its line is whole, so that a kill never leaves
// half of one.

#include <memory>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "sandbox/record_server/store.h"

namespace sandbox::record_server {

class AppendFile {
 public:
  // Reads what the file holds into the store, cuts a torn last line off, and stays open for
  // appending.
  static engine::base::Result<std::unique_ptr<AppendFile>> open(
      const std::string& path, const engine::json::NameTable& names, Store& store);
  ~AppendFile();
  AppendFile(const AppendFile&) = delete;
  AppendFile& operator=(const AppendFile&) = delete;

  // False when the line could not be written and synced.
  bool append(const std::vector<Change>& changes);

 private:
  AppendFile(int descriptor, std::size_t bytes) : descriptor_(descriptor), bytes_(bytes) {}
  int descriptor_;
  std::size_t bytes_;  // of whole lines
  bool broken_ = false;
};

}  // namespace sandbox::record_server

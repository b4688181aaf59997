#pragma once
// SQLite behind sql::Connection: errors as Result, statements prepared once and reused.

#include <chrono>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <unordered_map>

#include "engine/base/result.h"
#include "engine/journal/sql.h"

struct sqlite3;
struct sqlite3_stmt;

namespace engine::journal::sqlite {

class Connection final : public sql::Connection {
 public:
  struct Options {
    bool read_only = false;
    bool create = true;
    bool immutable = false;  // nobody writes it: read without the log and the locks of SQLite
  };
  static base::Result<std::unique_ptr<Connection>> open(const std::string& path, Options options);
  ~Connection() override;
  Connection(const Connection&) = delete;
  Connection& operator=(const Connection&) = delete;

  base::Result<void> script(const char* sql) override;
  sql::Run run(const char* sql) override;
  base::Result<void> begin_snapshot() override { return script("BEGIN"); }
  // How long a statement waits for other processes; limits::kJournalBusyWait unless told.
  void wait_for_others(std::chrono::milliseconds most);
  bool read_only() const;
  // Of the last statement. What the file shows of damage is said with it: that it is cut short.
  base::Error error(std::string_view what) const;
  sqlite3* handle() { return handle_; }

 private:
  explicit Connection(sqlite3* handle) : handle_(handle) {}
  sqlite3* handle_;
  std::unordered_map<const char*, sqlite3_stmt*> statements_;
};

}  // namespace engine::journal::sqlite

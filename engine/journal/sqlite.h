#pragma once
// A thin owner of SQLite handles for this folder: errors as Result, statements prepared once and
// reused. A connection belongs to one thread at a time.

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <unordered_map>

#include "engine/base/hash.h"
#include "engine/base/result.h"

struct sqlite3;
struct sqlite3_stmt;

namespace engine::journal::sqlite {

class Connection;

// One run of a prepared statement; resets it when it goes. Bind in order, then step.
class Run {
 public:
  Run(Connection& connection, sqlite3_stmt* statement);
  ~Run();
  Run(const Run&) = delete;
  Run& operator=(const Run&) = delete;

  Run& text(std::string_view value);
  Run& number(std::int64_t value);
  Run& number_or_null(std::int64_t value, bool null);
  Run& blob(std::string_view value);
  Run& digest(const base::Digest& value);

  // True when there is a row. After the first false or error there is nothing more.
  base::Result<bool> step();
  // For statements that give no rows.
  base::Result<void> finish();

  std::string_view text_at(int column) const;  // valid until the next step
  std::string_view blob_at(int column) const;
  std::int64_t number_at(int column) const;
  bool null_at(int column) const;

 private:
  Connection& connection_;
  sqlite3_stmt* statement_;
  int next_ = 1;
};

class Connection {
 public:
  struct Options {
    bool read_only = false;
    bool create = true;
  };
  static base::Result<std::unique_ptr<Connection>> open(const std::string& path, Options options);
  ~Connection();
  Connection(const Connection&) = delete;
  Connection& operator=(const Connection&) = delete;

  // Several statements without results.
  base::Result<void> script(const char* sql);
  // The text must be a literal: statements are kept by its address. Errors abort: the text is ours.
  Run run(const char* sql);
  base::Error error(std::string_view what) const;
  sqlite3* handle() { return handle_; }

 private:
  explicit Connection(sqlite3* handle) : handle_(handle) {}
  sqlite3* handle_;
  std::unordered_map<const char*, sqlite3_stmt*> statements_;
  friend class Run;
};

}  // namespace engine::journal::sqlite

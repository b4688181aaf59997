#pragma once
// PostgreSQL behind sql::Connection, on libpq. Every parameter and every column travels in binary
// form: numbers as BIGINT, all else as BYTEA.

#include <chrono>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <unordered_map>

#include "engine/base/limits.h"
#include "engine/base/result.h"
#include "engine/journal/sql.h"

using PGconn = struct pg_conn;
using PGresult = struct pg_result;

namespace engine::journal::postgres {

// Whether a journal's location names a database rather than a file.
bool is_address(std::string_view location);
// Errors: kInvalid for what libpq does not read, and for an address that holds a password: the
// command line and the environment of a process can be read by others.
base::Result<void> check_address(const std::string& address);

// Which of the servers that an address names. A standby shows what was, and is not written.
enum class Server : std::uint8_t { kAny, kPrimary };

struct FreeResult {
  void operator()(PGresult* result) const;
};
using Answer = std::unique_ptr<PGresult, FreeResult>;

class Connection final : public sql::Connection {
 public:
  // `address` is checked. `patience`: how long the database may say nothing while a statement runs;
  // after that the connection is lost. Errors: kIo.
  static base::Result<std::unique_ptr<Connection>> open(
      const std::string& address, bool read_only,
      std::chrono::milliseconds patience = base::limits::kDatabaseStatementWait,
      Server server = Server::kAny);
  ~Connection() override;
  Connection(const Connection&) = delete;
  Connection& operator=(const Connection&) = delete;

  base::Result<void> script(const char* sql) override { return script(sql, patience_); }
  base::Result<void> script(const char* sql, std::chrono::milliseconds patience);
  // As script(); whether the last statement found a row.
  base::Result<bool> finds(const char* sql) { return finds(sql, patience_); }
  base::Result<bool> finds(const char* sql, std::chrono::milliseconds patience);
  sql::Run run(const char* sql) override;
  base::Result<void> begin_snapshot() override;

  // Nothing can be asked on it any more.
  bool lost() const;
  PGconn* handle() { return handle_; }
  // The last result, or the first error, of what was sent; null when the database fell silent.
  Answer wait_for_answer() { return wait_for_answer(patience_); }
  // The database's own sentence about what went wrong last, without values.
  base::Error error(const PGresult* result) const;
  // The name that the statement is prepared under; made when new.
  const std::string& name_of(const char* sql) { return names_[sql]; }
  void prepared_as(const char* sql, std::string name) { names_[sql] = std::move(name); }
  // One that no statement of this connection has had, prepared or not.
  std::string fresh_name() { return "s" + std::to_string(++names_made_); }

 private:
  Connection(PGconn* handle, std::chrono::milliseconds patience)
      : handle_(handle), patience_(patience) {}
  Answer wait_for_answer(std::chrono::milliseconds patience);

  PGconn* handle_;
  const std::chrono::milliseconds patience_;
  bool silent_ = false;
  std::unordered_map<const char*, std::string> names_;
  std::size_t names_made_ = 0;
};

// The statement in PostgreSQL's words: ? and ?1 become $1, hints of which index to use go.
std::string translated(std::string_view sql);

}  // namespace engine::journal::postgres

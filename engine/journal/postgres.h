#pragma once
// PostgreSQL behind sql::Connection, on libpq. Every parameter and every column travels in binary
// form: numbers as BIGINT, all else as BYTEA.

#include <memory>
#include <string>
#include <string_view>
#include <unordered_map>

#include "engine/base/result.h"
#include "engine/journal/postgres_pipeline.h"
#include "engine/journal/sql.h"

namespace engine::journal::postgres {

// Whether a journal's location names a database rather than a file.
bool is_address(std::string_view location);
// Errors: kInvalid for what libpq does not read, and for an address that holds a password: the
// command line and the environment of a process can be read by others.
base::Result<void> check_address(const std::string& address);

class Connection final : public sql::Connection {
 public:
  // `address` is checked. Errors: kIo.
  static base::Result<std::unique_ptr<Connection>> open(const std::string& address, bool read_only);
  ~Connection() override;
  Connection(const Connection&) = delete;
  Connection& operator=(const Connection&) = delete;

  base::Result<void> script(const char* sql) override;
  sql::Run run(const char* sql) override;
  base::Result<void> begin_snapshot() override;

  // From here to finish_together() or the next script(), statements that give no rows are sent and
  // not waited for. What fails of them is told by the next that has to wait. For the statements of
  // one transaction: behind a failure nothing is carried out, a COMMIT no more than the rest.
  base::Result<void> send_together();
  // Runs the last of them.
  base::Result<void> finish_together(const char* sql);

  // Nothing can be asked on it any more.
  bool lost() const;
  PGconn* handle() { return handle_; }
  // The database's own sentence about what went wrong last, without values.
  base::Error error(const PGresult* result) const;
  Pipeline& pipeline() { return pipeline_; }
  // The name that the statement is prepared under; empty when it is not.
  const std::string& name_of(const char* sql) { return names_[sql]; }
  void prepared_as(const char* sql, std::string name) { names_[sql] = std::move(name); }
  std::size_t prepared() const { return names_.size(); }

 private:
  explicit Connection(PGconn* handle) : handle_(handle), pipeline_(handle) {}
  PGconn* handle_;
  Pipeline pipeline_;
  std::unordered_map<const char*, std::string> names_;
};

// The statement in PostgreSQL's words: ? and ?1 become $1, hints of which index to use go.
std::string translated(std::string_view sql);

}  // namespace engine::journal::postgres

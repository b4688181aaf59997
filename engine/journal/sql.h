#pragma once
// What the statements of this folder need of a database, so that the fold and the queries are
// written once. Statements use the part of SQL that SQLite and PostgreSQL share, with parameters
// as ? or ?1; texts and bytes are both kept as bytes, so that neither encoding nor collation takes
// part in anything.

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <utility>

#include "engine/base/hash.h"
#include "engine/base/result.h"

namespace engine::journal::sql {

inline constexpr int kParametersMax = 16;

// One run of a statement, by a database.
class Statement {
 public:
  virtual ~Statement() = default;
  // The bytes must live until the run ends.
  virtual void bind_text(std::string_view value) = 0;
  virtual void bind_blob(std::string_view value) = 0;
  virtual void bind_number(std::int64_t value) = 0;
  virtual void bind_null() = 0;
  virtual base::Result<bool> step() = 0;
  virtual std::string_view bytes_at(int column) const = 0;
  virtual std::int64_t number_at(int column) const = 0;
  virtual bool null_at(int column) const = 0;
  // Whatever it is, as people write it.
  virtual std::string print_at(int column) const = 0;
};

// The same, for use: bind in order, then step.
class Run {
 public:
  explicit Run(std::unique_ptr<Statement> statement) : statement_(std::move(statement)) {}

  Run& text(std::string_view value) {
    statement_->bind_text(value);
    return *this;
  }
  Run& blob(std::string_view value) {
    statement_->bind_blob(value);
    return *this;
  }
  Run& digest(const base::Digest& value);
  Run& number(std::int64_t value) {
    statement_->bind_number(value);
    return *this;
  }
  Run& number_or_null(std::int64_t value, bool null) {
    null ? statement_->bind_null() : statement_->bind_number(value);
    return *this;
  }

  // True when there is a row. After the first false or error there is nothing more.
  base::Result<bool> step() { return statement_->step(); }
  // For statements that give no rows.
  base::Result<void> finish();

  std::string_view text_at(int column) const { return statement_->bytes_at(column); }
  std::string_view blob_at(int column) const { return statement_->bytes_at(column); }
  std::int64_t number_at(int column) const { return statement_->number_at(column); }
  bool null_at(int column) const { return statement_->null_at(column); }
  std::string print_at(int column) const { return statement_->print_at(column); }

 private:
  std::unique_ptr<Statement> statement_;
};

// Belongs to one thread at a time.
class Connection {
 public:
  virtual ~Connection() = default;
  // Several statements without parameters and results.
  virtual base::Result<void> script(const char* sql) = 0;
  // The text must be a literal: statements are kept by its address.
  virtual Run run(const char* sql) = 0;
  // Begins a transaction that sees one state of everything until "ROLLBACK".
  virtual base::Result<void> begin_snapshot() = 0;
};

}  // namespace engine::journal::sql

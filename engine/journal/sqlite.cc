#include "engine/journal/sqlite.h"

#include <array>
#include <limits>

#include <sqlite3.h>

#include "engine/base/check.h"
#include "engine/base/limits.h"

namespace engine::journal::sqlite {
namespace {

int length_of(std::string_view value) {
  ENGINE_CHECK(value.size() <= static_cast<std::size_t>(std::numeric_limits<int>::max()));
  return static_cast<int>(value.size());
}

// Resets the statement when it goes. Bound values need not be copied: every run ends before the
// caller's values do.
class Running final : public sql::Statement {
 public:
  Running(Connection& connection, sqlite3_stmt* statement)
      : connection_(connection), statement_(statement) {}
  ~Running() override {
    if (statement_ != nullptr) {
      sqlite3_reset(statement_);
      sqlite3_clear_bindings(statement_);
    }
  }
  Running(const Running&) = delete;
  Running& operator=(const Running&) = delete;

  void bind_text(std::string_view value) override {
    sqlite3_bind_text(statement_, next_++, value.data() != nullptr ? value.data() : "",
                      length_of(value), SQLITE_STATIC);
  }
  void bind_blob(std::string_view value) override {
    sqlite3_bind_blob(statement_, next_++, value.data() != nullptr ? value.data() : "",
                      length_of(value), SQLITE_STATIC);
  }
  void bind_number(std::int64_t value) override { sqlite3_bind_int64(statement_, next_++, value); }
  void bind_null() override { sqlite3_bind_null(statement_, next_++); }
  base::Result<bool> step() override;
  std::string_view bytes_at(int column) const override;
  std::int64_t number_at(int column) const override {
    return sqlite3_column_int64(statement_, column);
  }
  bool null_at(int column) const override {
    return sqlite3_column_type(statement_, column) == SQLITE_NULL;
  }
  std::string print_at(int column) const override { return std::string(bytes_at(column)); }

 private:
  Connection& connection_;
  sqlite3_stmt* statement_;
  int next_ = 1;
};

base::Result<bool> Running::step() {
  if (statement_ == nullptr) {
    return connection_.error("a statement could not be prepared");
  }
  const int code = sqlite3_step(statement_);
  if (code == SQLITE_ROW) {
    return true;
  }
  if (code == SQLITE_DONE) {
    return false;
  }
  return connection_.error("the journal's file");
}

std::string_view Running::bytes_at(int column) const {
  const void* data = sqlite3_column_blob(statement_, column);
  const int bytes = sqlite3_column_bytes(statement_, column);
  return data == nullptr
             ? std::string_view()
             : std::string_view(static_cast<const char*>(data), static_cast<std::size_t>(bytes));
}

// As SQLite's addresses want it.
std::string address_of(const std::string& path) {
  std::string out = "file:";
  for (const char c : path) {
    if (c == '%' || c == '?' || c == '#') {
      const auto byte = static_cast<unsigned char>(c);
      constexpr std::string_view kDigits = "0123456789ABCDEF";
      out.append({'%', kDigits[byte >> 4U], kDigits[byte & 15U]});
    } else {
      out += c;
    }
  }
  return out + "?immutable=1";
}

// Where SQLite says no more than that a file is malformed: whether it is shorter than its own
// header says. Read through SQLite's descriptor, since closing one of our own would free its locks.
// File format: https://sqlite.org/fileformat2.html section 1.3.
std::string cut_short(sqlite3* handle) {
  sqlite3_file* file = nullptr;
  std::array<unsigned char, 100> head{};
  sqlite3_int64 size = 0;
  if (sqlite3_file_control(handle, "main", SQLITE_FCNTL_FILE_POINTER, &file) != SQLITE_OK ||
      file == nullptr || file->pMethods == nullptr ||
      file->pMethods->xFileSize(file, &size) != SQLITE_OK ||
      file->pMethods->xRead(file, head.data(), static_cast<int>(head.size()), 0) != SQLITE_OK) {
    return {};
  }
  const auto number = [&head](std::size_t at, std::size_t bytes) {
    std::int64_t out = 0;
    for (std::size_t i = at; i < at + bytes; ++i) {
      out = out * 256 + head[i];
    }
    return out;
  };
  const std::int64_t page = number(16, 2) == 1 ? 65536 : number(16, 2);
  const std::int64_t pages = number(28, 4);
  if (size >= page * pages) {
    return {};
  }
  return "; the file is cut short: its header tells of " + std::to_string(pages) + " pages of " +
         std::to_string(page) + " bytes, and it has " + std::to_string(size) + " bytes";
}

}  // namespace

base::Result<std::unique_ptr<Connection>> Connection::open(const std::string& path,
                                                           Options options) {
  int flags = SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_URI;
  flags |= options.read_only ? SQLITE_OPEN_READONLY : SQLITE_OPEN_READWRITE;
  flags |= options.create && !options.read_only ? SQLITE_OPEN_CREATE : 0;
  sqlite3* handle = nullptr;
  const std::string name = options.immutable ? address_of(path) : path;
  const int code = sqlite3_open_v2(name.c_str(), &handle, flags, nullptr);
  std::unique_ptr<Connection> connection(new Connection(handle));
  if (code != SQLITE_OK) {
    base::Error problem = connection->error("the journal cannot be opened");
    problem.where = path;
    return problem;
  }
  connection->wait_for_others(base::limits::kJournalBusyWait);
  sqlite3_extended_result_codes(handle, 1);
  // A journal has neither: whoever put one into the file does not get it run.
  sqlite3_db_config(handle, SQLITE_DBCONFIG_ENABLE_TRIGGER, 0, nullptr);
  sqlite3_db_config(handle, SQLITE_DBCONFIG_ENABLE_VIEW, 0, nullptr);
  return connection;
}

Connection::~Connection() {
  for (const auto& [sql, statement] : statements_) {
    sqlite3_finalize(statement);
  }
  sqlite3_close(handle_);
}

base::Result<void> Connection::script(const char* sql) {
  if (sqlite3_exec(handle_, sql, nullptr, nullptr, nullptr) != SQLITE_OK) {
    return error("the journal's file");
  }
  return {};
}

sql::Run Connection::run(const char* sql) {
  sqlite3_stmt*& statement = statements_[sql];
  if (statement == nullptr) {
    sqlite3_prepare_v3(handle_, sql, -1, SQLITE_PREPARE_PERSISTENT, &statement, nullptr);
  }
  return sql::Run(std::make_unique<Running>(*this, statement));
}

void Connection::wait_for_others(std::chrono::milliseconds most) {
  sqlite3_busy_timeout(handle_, static_cast<int>(most.count()));
}

bool Connection::read_only() const {
  return sqlite3_db_readonly(handle_, "main") == 1;
}

base::Error Connection::error(std::string_view what) const {
  const int code = sqlite3_extended_errcode(handle_);
  const int primary = code & 0xFF;
  const std::string text = std::string(what) + ": " + sqlite3_errmsg(handle_);
  // No statement of ours can break a rule of the tables but where they contradict each other.
  if (primary == SQLITE_CONSTRAINT) {
    return {base::ErrorCode::kCorrupt,
            text +
                "; the file is damaged: its tables contradict each other, journal verify says "
                "where" +
                cut_short(handle_)};
  }
  if (primary == SQLITE_CORRUPT || primary == SQLITE_NOTADB) {
    return {base::ErrorCode::kCorrupt, text + cut_short(handle_)};
  }
  return {base::ErrorCode::kIo, text};
}

}  // namespace engine::journal::sqlite

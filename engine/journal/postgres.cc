#include "engine/journal/postgres.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cstring>
#include <limits>
#include <utility>

#include <libpq-fe.h>

#include "engine/base/check.h"
#include "engine/base/limits.h"

namespace engine::journal::postgres {

using base::Error;
using base::ErrorCode;
using base::Result;

namespace {

constexpr Oid kBytea = 17;
constexpr Oid kBigint = 20;
constexpr Oid kInteger = 23;

std::array<char, 8> big_endian(std::int64_t value) {
  std::array<char, 8> out{};
  auto bits = static_cast<std::uint64_t>(value);
  for (std::size_t i = out.size(); i > 0; --i) {
    out[i - 1] = static_cast<char>(bits & 0xFF);
    bits >>= 8;
  }
  return out;
}

std::int64_t number_of(std::string_view bytes) {
  std::uint64_t bits = !bytes.empty() && (static_cast<unsigned char>(bytes[0]) & 0x80) != 0
                           ? std::numeric_limits<std::uint64_t>::max()
                           : 0;
  for (const char byte : bytes) {
    bits = bits << 8 | static_cast<unsigned char>(byte);
  }
  return static_cast<std::int64_t>(bits);
}

class Running final : public sql::Statement {
 public:
  Running(Connection& connection, const char* sql) : connection_(connection), sql_(sql) {}

  void bind_text(std::string_view value) override { bind_blob(value); }
  void bind_blob(std::string_view value) override {
    ENGINE_CHECK(value.size() <= static_cast<std::size_t>(std::numeric_limits<int>::max()));
    add(value.data() != nullptr ? value.data() : "", static_cast<int>(value.size()), kBytea);
  }
  void bind_number(std::int64_t value) override {
    std::array<char, 8>& kept = numbers_[count_];
    kept = big_endian(value);
    add(kept.data(), static_cast<int>(kept.size()), kBigint);
  }
  void bind_null() override { add(nullptr, 0, kBigint); }

  Result<bool> step() override;
  Result<void> finish() override;
  std::string_view bytes_at(int column) const override {
    return {PQgetvalue(answer_.get(), row_, column),
            static_cast<std::size_t>(PQgetlength(answer_.get(), row_, column))};
  }
  std::int64_t number_at(int column) const override { return number_of(bytes_at(column)); }
  bool null_at(int column) const override { return PQgetisnull(answer_.get(), row_, column) != 0; }
  std::string print_at(int column) const override {
    const Oid type = PQftype(answer_.get(), column);
    return type == kBigint || type == kInteger ? std::to_string(number_at(column))
                                               : std::string(bytes_at(column));
  }

 private:
  void add(const char* bytes, int length, Oid type) {
    ENGINE_CHECK(count_ < values_.size());
    values_[count_] = bytes;
    lengths_[count_] = length;
    types_[count_] = type;
    ++count_;
  }
  Result<void> prepare();
  Execution execution() const {
    return {connection_.name_of(sql_).c_str(), static_cast<int>(count_), values_.data(),
            lengths_.data()};
  }

  Connection& connection_;
  const char* sql_;
  std::array<const char*, sql::kParametersMax> values_{};
  std::array<int, sql::kParametersMax> lengths_{};
  std::array<Oid, sql::kParametersMax> types_{};
  std::array<std::array<char, 8>, sql::kParametersMax> numbers_{};
  std::size_t count_ = 0;
  Answer answer_;
  int row_ = -1;
};

// Waited for, and outside the pipeline: what it skipped would count as prepared.
Result<void> Running::prepare() {
  if (!connection_.name_of(sql_).empty()) {
    return {};
  }
  const bool together = connection_.pipeline().entered();
  if (together) {
    if (const Answer failed = connection_.pipeline().leave()) {
      return connection_.error(failed.get());
    }
  }
  std::string name = "s" + std::to_string(connection_.prepared());
  const Answer answer(PQprepare(connection_.handle(), name.c_str(), translated(sql_).c_str(),
                                static_cast<int>(count_), types_.data()));
  if (!is_good(answer.get())) {
    return connection_.error(answer.get());
  }
  connection_.prepared_as(sql_, std::move(name));
  return together ? connection_.send_together() : Result<void>();
}

Result<bool> Running::step() {
  if (answer_ == nullptr) {
    if (auto ready = prepare(); !ready) {
      return ready.error();
    }
    const Execution sent = execution();
    if (connection_.pipeline().entered()) {
      answer_ = connection_.pipeline().ask(sent);
    } else {
      std::array<int, sql::kParametersMax> binary{};
      binary.fill(1);
      answer_.reset(PQexecPrepared(connection_.handle(), sent.name, sent.count, sent.values,
                                   sent.lengths, binary.data(), 1));
    }
  }
  if (!is_good(answer_.get())) {
    return connection_.error(answer_.get());
  }
  return ++row_ < PQntuples(answer_.get());
}

Result<void> Running::finish() {
  if (!connection_.pipeline().entered()) {
    return Statement::finish();
  }
  if (auto ready = prepare(); !ready) {
    return ready;
  }
  const Answer failed = connection_.pipeline().send(execution());
  return failed == nullptr ? Result<void>() : connection_.error(failed.get());
}

// Waits end: for a peer that fell silent, for a lock, and of a transaction that its engine forgot,
// which would keep all others out.
constexpr const char* kSetUp = R"sql(
SET lock_timeout = '10s';
SET idle_in_transaction_session_timeout = '10s';
SET client_min_messages = 'error';
SELECT set_config('synchronous_commit', 'on', false)
  WHERE current_setting('synchronous_commit') IN ('off', 'local');
)sql";

}  // namespace

bool is_address(std::string_view location) {
  return location.substr(0, 13) == "postgresql://" || location.substr(0, 11) == "postgres://";
}

Result<void> check_address(const std::string& address) {
  char* problem = nullptr;
  PQconninfoOption* const options = PQconninfoParse(address.c_str(), &problem);
  PQfreemem(problem);  // may quote what was meant as a password
  if (options == nullptr) {
    return Error(ErrorCode::kInvalid,
                 "the journal's address is not readable; write it as "
                 "postgresql://USER@HOST:PORT/DATABASE");
  }
  bool secret = false;
  for (const PQconninfoOption* one = options; one->keyword != nullptr; ++one) {
    secret = secret || (std::string_view(one->keyword) == "password" && one->val != nullptr);
  }
  PQconninfoFree(options);
  if (secret) {
    return Error(ErrorCode::kInvalid,
                 "the journal's address holds a password, which others on this machine can read; "
                 "put it into the password file (~/.pgpass or PGPASSFILE)");
  }
  return {};
}

Result<std::unique_ptr<Connection>> Connection::open(const std::string& address, bool read_only) {
  const std::string wait = std::to_string(base::limits::kDatabaseConnectWait.count());
  // What the address says comes last and wins.
  const std::array<const char*, 9> names = {
      "fallback_application_name", "connect_timeout",  "keepalives_idle",
      "keepalives_interval",       "keepalives_count", "tcp_user_timeout",
      "client_encoding",           "dbname",           nullptr};
  const std::array<const char*, 9> values = {
      "chartferry", wait.c_str(), "10", "5", "3", "30000", "UTF8", address.c_str(), nullptr};
  std::unique_ptr<Connection> out(
      new Connection(PQconnectdbParams(names.data(), values.data(), 1)));
  if (out->handle_ == nullptr || out->lost()) {
    return out->error(nullptr);
  }
  auto ready = out->script(kSetUp);
  if (ready && read_only) {
    ready = out->script("SET default_transaction_read_only = on");
  }
  if (!ready) {
    return ready.error();
  }
  return out;
}

Connection::~Connection() {
  PQfinish(handle_);
}

bool Connection::lost() const {
  return PQstatus(handle_) != CONNECTION_OK;
}

Result<void> Connection::script(const char* sql) {
  if (pipeline_.entered()) {
    // What it was about to tell concerns a transaction that is given up.
    static_cast<void>(pipeline_.leave());
  }
  const Answer answer(PQexec(handle_, sql));
  return is_good(answer.get()) ? Result<void>() : error(answer.get());
}

Result<void> Connection::send_together() {
  return pipeline_.enter() ? Result<void>() : error(nullptr);
}

Result<void> Connection::finish_together(const char* sql) {
  auto done = run(sql).finish();
  const Answer failed = pipeline_.leave();
  return !done || failed == nullptr ? done : error(failed.get());
}

sql::Run Connection::run(const char* sql) {
  return sql::Run(std::make_unique<Running>(*this, sql));
}

Result<void> Connection::begin_snapshot() {
  return script("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY");
}

Error Connection::error(const PGresult* result) const {
  const char* const state =
      result != nullptr ? PQresultErrorField(result, PG_DIAG_SQLSTATE) : nullptr;
  const char* const primary =
      result != nullptr ? PQresultErrorField(result, PG_DIAG_MESSAGE_PRIMARY) : nullptr;
  std::string text = primary != nullptr ? primary : PQerrorMessage(handle_);
  text.erase(std::find(text.begin(), text.end(), '\n'), text.end());
  const bool corrupt = state != nullptr && std::strncmp(state, "XX00", 4) == 0 && state[4] != '0';
  return {corrupt ? ErrorCode::kCorrupt : ErrorCode::kIo, "the journal's database: " + text};
}

std::string translated(std::string_view sql) {
  constexpr std::string_view kHint = " INDEXED BY ";
  std::string out;
  int next = 1;
  for (std::size_t i = 0; i < sql.size(); ++i) {
    if (sql.substr(i, kHint.size()) == kHint) {
      i = std::min(sql.find(' ', i + kHint.size()), sql.size()) - 1;
    } else if (sql[i] != '?') {
      out += sql[i];
    } else {
      const bool numbered =
          i + 1 < sql.size() && std::isdigit(static_cast<unsigned char>(sql[i + 1])) != 0;
      out += numbered ? "$" : "$" + std::to_string(next++);
    }
  }
  return out;
}

}  // namespace engine::journal::postgres

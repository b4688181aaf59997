#include "engine/journal/postgres.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cstring>
#include <limits>
#include <utility>

#include <libpq-fe.h>
#include <poll.h>

#include "engine/base/check.h"
#include "engine/base/limits.h"

namespace engine::journal::postgres {

using base::Error;
using base::ErrorCode;
using base::Result;
using std::chrono::milliseconds;

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

Result<void> Running::prepare() {
  if (!connection_.name_of(sql_).empty()) {
    return {};
  }
  std::string name = connection_.fresh_name();
  Answer answer;
  if (PQsendPrepare(connection_.handle(), name.c_str(), translated(sql_).c_str(),
                    static_cast<int>(count_), types_.data()) != 0) {
    answer = connection_.wait_for_answer();
  }
  if (PQresultStatus(answer.get()) != PGRES_COMMAND_OK) {
    return connection_.error(answer.get());
  }
  connection_.prepared_as(sql_, std::move(name));
  return {};
}

Result<bool> Running::step() {
  if (answer_ == nullptr) {
    if (auto ready = prepare(); !ready) {
      return ready.error();
    }
    std::array<int, sql::kParametersMax> binary{};
    binary.fill(1);
    if (PQsendQueryPrepared(connection_.handle(), connection_.name_of(sql_).c_str(),
                            static_cast<int>(count_), values_.data(), lengths_.data(),
                            binary.data(), 1) != 0) {
      answer_ = connection_.wait_for_answer();
    }
  }
  const ExecStatusType status = PQresultStatus(answer_.get());
  if (status != PGRES_TUPLES_OK && status != PGRES_COMMAND_OK) {
    return connection_.error(answer_.get());
  }
  return ++row_ < PQntuples(answer_.get());
}

// Waits end: for a peer that fell silent, also as the database sees it, for a lock, and of a
// transaction that its engine forgot, which would keep all others out. The site's defaults decide
// nothing: a snapshot that is older than the sequencer's lock would miss what was written before
// it, and a time limit that ends a commit's wait for the standby would have it acknowledged.
constexpr const char* kSetUp = R"sql(
SET lock_timeout = '10s';
SET statement_timeout = 0;
SET idle_in_transaction_session_timeout = '10s';
SET idle_session_timeout = 0;
SELECT set_config('transaction_timeout', '0', false)
  WHERE current_setting('transaction_timeout', true) IS NOT NULL;
SET tcp_keepalives_idle = 10;
SET tcp_keepalives_interval = 5;
SET tcp_keepalives_count = 3;
SET tcp_user_timeout = 30000;
SET client_min_messages = 'error';
SET default_transaction_isolation = 'read committed';
SET default_transaction_read_only = off;
SET default_transaction_deferrable = off;
SELECT set_config('synchronous_commit', 'on', false)
  WHERE current_setting('synchronous_commit') IN ('off', 'local');
)sql";

std::ptrdiff_t count_of(const PQconninfoOption* options) {
  std::ptrdiff_t count = 0;
  while (options != nullptr && options[count].keyword != nullptr) {
    ++count;
  }
  return count;
}

}  // namespace

bool is_address(std::string_view location) {
  std::string begin(location.substr(0, std::string_view("postgresql:").size()));
  std::transform(begin.begin(), begin.end(), begin.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  if (begin.rfind("postgres:", 0) == 0 || begin == "postgresql:") {
    return true;
  }
  // "host=... dbname=...": no file is meant, and its name would be a password's.
  PQconninfoOption* const words = PQconninfoParse(std::string(location).c_str(), nullptr);
  const bool any = std::any_of(words, words + count_of(words),
                               [](const PQconninfoOption& one) { return one.val != nullptr; });
  PQconninfoFree(words);
  return any;
}

Result<void> check_address(const std::string& address) {
  char* problem = nullptr;
  const bool is_url =
      address.rfind("postgresql://", 0) == 0 || address.rfind("postgres://", 0) == 0;
  PQconninfoOption* const options = is_url ? PQconninfoParse(address.c_str(), &problem) : nullptr;
  PQfreemem(problem);  // may quote what was meant as a password
  if (options == nullptr) {
    return Error(ErrorCode::kInvalid,
                 "the journal's address is not readable; write it as "
                 "postgresql://USER@HOST:PORT/DATABASE");
  }
  bool secret = false;
  for (const PQconninfoOption* one = options; one->keyword != nullptr; ++one) {
    // As libpq marks what is not to be seen.
    secret = secret || (one->dispchar[0] == '*' && one->val != nullptr);
  }
  PQconninfoFree(options);
  if (secret) {
    return Error(ErrorCode::kInvalid,
                 "the journal's address holds a password, which others on this machine can read; "
                 "put it into the password file (~/.pgpass or PGPASSFILE)");
  }
  return {};
}

void FreeResult::operator()(PGresult* result) const {
  PQclear(result);
}

Result<std::unique_ptr<Connection>> Connection::open(const std::string& address, bool read_only,
                                                     std::chrono::milliseconds patience,
                                                     Server server) {
  const std::string wait = std::to_string(base::limits::kDatabaseConnectWait.count());
  // What comes later wins: the address over all but the server. Null counts as not said.
  const std::array<const char*, 10> names = {"fallback_application_name", "connect_timeout",
                                             "keepalives_idle",           "keepalives_interval",
                                             "keepalives_count",          "tcp_user_timeout",
                                             "client_encoding",           "dbname",
                                             "target_session_attrs",      nullptr};
  const std::array<const char*, 10> values = {"chartferry",
                                              wait.c_str(),
                                              "10",
                                              "5",
                                              "3",
                                              "30000",
                                              "UTF8",
                                              address.c_str(),
                                              server == Server::kPrimary ? "primary" : nullptr,
                                              nullptr};
  std::unique_ptr<Connection> out(
      new Connection(PQconnectdbParams(names.data(), values.data(), 1), patience));
  // What a statement does not say in its own answer, such as that the connection is ended, libpq
  // would write between the lines of the log.
  PQsetNoticeProcessor(
      out->handle_, [](void*, const char*) {}, nullptr);
  // Sending waits in wait_for_answer(), too.
  if (out->handle_ == nullptr || out->lost() || PQsetnonblocking(out->handle_, 1) != 0) {
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
  return silent_ || PQstatus(handle_) != CONNECTION_OK;
}

// Whatever comes or is taken starts the time anew: long answers are no silence.
Answer Connection::wait_for_answer(milliseconds patience) {
  Answer out;
  while (!silent_) {
    const int unsent = PQflush(handle_);
    if (unsent <= 0 && PQisBusy(handle_) == 0) {
      Answer next(PQgetResult(handle_));
      if (next == nullptr) {
        return out;
      }
      const ExecStatusType status = PQresultStatus(out.get());
      if (out == nullptr || status == PGRES_COMMAND_OK || status == PGRES_TUPLES_OK) {
        out = std::move(next);
      }
      continue;
    }
    pollfd file{PQsocket(handle_), static_cast<short>(unsent > 0 ? POLLIN | POLLOUT : POLLIN), 0};
    const int ready = ::poll(&file, 1, static_cast<int>(patience.count()));
    if (ready == 0) {
      silent_ = true;
    } else if (ready > 0 && (file.revents & ~POLLOUT) != 0) {
      PQconsumeInput(handle_);  // a connection that has gone shows in the result
    }
  }
  return nullptr;
}

Result<void> Connection::script(const char* sql, milliseconds patience) {
  const auto done = finds(sql, patience);
  return done ? Result<void>() : done.error();
}

Result<bool> Connection::finds(const char* sql, milliseconds patience) {
  Answer answer;
  if (PQsendQuery(handle_, sql) != 0) {
    answer = wait_for_answer(patience);
  }
  const ExecStatusType status = PQresultStatus(answer.get());
  if (status != PGRES_COMMAND_OK && status != PGRES_TUPLES_OK) {
    return error(answer.get());
  }
  return PQntuples(answer.get()) > 0;
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
  std::string text = silent_              ? "it does not answer"
                     : primary != nullptr ? primary
                                          : PQerrorMessage(handle_);
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

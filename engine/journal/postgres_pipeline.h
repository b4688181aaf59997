#pragma once
// Statements sent one after the other without waiting for the answer to each, on libpq's pipeline
// mode: a transaction of a dozen statements then waits for the database a few times only. When one
// fails, the database skips those behind it.

#include <cstddef>
#include <memory>

using PGconn = struct pg_conn;
using PGresult = struct pg_result;

namespace engine::journal::postgres {

struct FreeResult {
  void operator()(PGresult* result) const;
};
using Answer = std::unique_ptr<PGresult, FreeResult>;

// Whether the statement was carried out.
bool is_good(const PGresult* result);

// A prepared statement with its parameters, in binary form.
struct Execution {
  const char* name = nullptr;
  int count = 0;
  const char* const* values = nullptr;
  const int* lengths = nullptr;
};

class Pipeline {
 public:
  explicit Pipeline(PGconn* connection) : connection_(connection) {}

  // False when the connection is lost or busy.
  bool enter();
  bool entered() const { return entered_; }
  // Sends it; copied on return. An empty answer is good, and tells that there is none yet;
  // otherwise it is what failed, of this one or those before.
  Answer send(const Execution& execution);
  // Sends it and waits. The answer to it, or of all that was sent what failed first; empty when the
  // connection is lost.
  Answer ask(const Execution& execution);
  // Waits for what was sent, and leaves the mode. What failed first, if anything.
  Answer leave();

 private:
  Answer answers();

  PGconn* connection_;
  bool entered_ = false;
  std::size_t sent_ = 0;  // and not answered
};

}  // namespace engine::journal::postgres

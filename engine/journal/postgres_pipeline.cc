#include "engine/journal/postgres_pipeline.h"

#include <array>
#include <utility>

#include <libpq-fe.h>

#include "engine/journal/sql.h"

namespace engine::journal::postgres {
namespace {

// Answers that nobody reads fill what the database may send ahead.
constexpr std::size_t kSentMax = 256;

}  // namespace

void FreeResult::operator()(PGresult* result) const {
  PQclear(result);
}

bool is_good(const PGresult* result) {
  const ExecStatusType status = PQresultStatus(result);
  return status == PGRES_TUPLES_OK || status == PGRES_COMMAND_OK;
}

bool Pipeline::enter() {
  entered_ = PQenterPipelineMode(connection_) == 1;
  return entered_;
}

Answer Pipeline::send(const Execution& execution) {
  std::array<int, sql::kParametersMax> binary{};
  binary.fill(1);
  if (PQsendQueryPrepared(connection_, execution.name, execution.count, execution.values,
                          execution.lengths, binary.data(), 1) != 1) {
    return Answer(PQmakeEmptyPGresult(connection_, PGRES_FATAL_ERROR));
  }
  if (++sent_ < kSentMax) {
    return nullptr;
  }
  Answer answer = answers();
  const bool good = answer != nullptr && is_good(answer.get());
  return good ? nullptr : std::move(answer);
}

Answer Pipeline::ask(const Execution& execution) {
  Answer failed = send(execution);
  return failed != nullptr ? std::move(failed) : answers();
}

Answer Pipeline::leave() {
  Answer answer = sent_ > 0 ? answers() : nullptr;
  entered_ = PQexitPipelineMode(connection_) != 1;
  const bool good = answer == nullptr || is_good(answer.get());
  return good ? nullptr : std::move(answer);
}

Answer Pipeline::answers() {
  if (PQpipelineSync(connection_) != 1) {
    sent_ = 0;
    return Answer(PQmakeEmptyPGresult(connection_, PGRES_FATAL_ERROR));
  }
  Answer last;
  Answer failed;
  for (; sent_ > 0; --sent_) {
    last.reset(PQgetResult(connection_));
    if (failed == nullptr && !is_good(last.get())) {
      failed = last != nullptr ? std::move(last)
                               : Answer(PQmakeEmptyPGresult(connection_, PGRES_FATAL_ERROR));
    }
    // The empty one that ends each statement's answers.
    while (const Answer more = Answer(PQgetResult(connection_))) {
    }
  }
  const Answer end_of_pipeline(PQgetResult(connection_));
  return failed != nullptr ? std::move(failed) : std::move(last);
}

}  // namespace engine::journal::postgres

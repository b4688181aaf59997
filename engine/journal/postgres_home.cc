#include "engine/journal/postgres_home.h"

#include "engine/journal/queries.h"

namespace engine::journal::postgres {

using base::Result;

namespace {

constexpr const char* kMark = "journal";  // in the table agreed

}  // namespace

Result<std::string> mark_of(Connection& connection) {
  return queries::agreed(connection, kMark);
}

Result<void> mark_journal(Connection& connection) {
  const auto mark = mark_of(connection);
  if (!mark || !mark->empty()) {
    return mark ? Result<void>() : mark.error();
  }
  return connection
      .run(
          "INSERT INTO agreed VALUES(?, uuid_send(gen_random_uuid())) ON CONFLICT (name) DO "
          "NOTHING")
      .text(kMark)
      .finish();
}

Result<std::unique_ptr<Connection>> connect(const Home& home, bool read_only,
                                            std::chrono::milliseconds patience) {
  auto opened = Connection::open(home.address, read_only, patience, home.server);
  if (!opened || home.mark.empty()) {
    return opened;
  }
  const auto mark = mark_of(**opened);
  if (!mark) {
    return mark.error();
  }
  if (*mark != home.mark) {
    return base::Error(base::ErrorCode::kIo,
                       "the journal's database: the address leads to another journal by now than "
                       "the one that this engine began with");
  }
  return opened;
}

}  // namespace engine::journal::postgres

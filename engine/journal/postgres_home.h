#pragma once
// Where a journal is, and which one it is. What an address leads to may change under an engine: a
// name that means another machine by now, a role's search path that names another schema. What
// would be written there nobody waits for here, and its patients are hidden with another key.

#include <chrono>
#include <memory>
#include <string>

#include "engine/base/limits.h"
#include "engine/base/result.h"
#include "engine/journal/postgres.h"

namespace engine::journal::postgres {

struct Home {
  std::string address;
  Server server = Server::kAny;
  std::string mark;  // of the journal; "" of one that no engine has marked yet: none is compared
};

// Of the journal that the connection leads to; "" when it has none. Errors: kIo.
base::Result<std::string> mark_of(Connection& connection);
// Gives the journal one where it has none. Two that were copied from one another differ in it; a
// standby and a backup have that of their original. Errors: kIo.
base::Result<void> mark_journal(Connection& connection);

// As Connection::open(). Errors: kIo, also when it leads to another journal: the next try may not.
base::Result<std::unique_ptr<Connection>> connect(
    const Home& home, bool read_only,
    std::chrono::milliseconds patience = base::limits::kDatabaseStatementWait);

}  // namespace engine::journal::postgres

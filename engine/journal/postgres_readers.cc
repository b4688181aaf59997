#include "engine/journal/postgres_readers.h"

#include "engine/base/limits.h"

namespace engine::journal::postgres {
namespace {

constexpr const char* kAlongIndexes = "SET enable_sort = off; SET enable_bitmapscan = off";

}  // namespace

base::Result<std::unique_ptr<Connection>> Readers::take() {
  {
    std::unique_lock lock(mutex_);
    if (!returned_.wait_for(lock, base::limits::kDatabaseStatementWait,
                            [this] { return in_use_ < base::limits::kDatabaseReadersMax; })) {
      return base::Error(base::ErrorCode::kIo,
                         "the journal's database: its connections are all in use");
    }
    ++in_use_;
    if (!idle_.empty()) {
      auto connection = std::move(idle_.back());
      idle_.pop_back();
      return connection;
    }
  }
  auto opened = connect(home_, true);
  if (opened && plans_ == Plans::kAlongIndexes) {
    if (auto set = (*opened)->script(kAlongIndexes); !set) {
      opened = set.error();
    }
  }
  if (!opened) {
    give(nullptr);
  }
  return opened;
}

void Readers::give(std::unique_ptr<Connection> connection) {
  {
    const std::lock_guard lock(mutex_);
    --in_use_;
    if (connection != nullptr && !connection->lost()) {
      idle_.push_back(std::move(connection));
    } else {
      idle_.clear();  // what ended this one has ended the others too
    }
  }
  returned_.notify_one();
}

}  // namespace engine::journal::postgres

#pragma once
// A few connections for reading, each for one question at a time. A question whose connection turns
// out to be lost is asked again on a new one, once.

#include <condition_variable>
#include <memory>
#include <mutex>
#include <string>
#include <utility>
#include <vector>

#include "engine/journal/postgres.h"
#include "engine/journal/postgres_home.h"

namespace engine::journal::postgres {

class Readers {
 public:
  // How the database goes about a question.
  enum class Plans {
    kAsItEstimates,
    // Along the indexes, in their order. For questions that have one made for them: what the
    // database knows of a table's rows lags behind a burst, and it estimates few where many wait.
    kAlongIndexes,
  };
  explicit Readers(Home home, Plans plans = Plans::kAsItEstimates)
      : home_(std::move(home)), plans_(plans) {}

  template <class Question>
  auto ask(const Question& question) -> decltype(question(std::declval<Connection&>())) {
    bool lost = false;
    auto answer = ask_once(question, lost);
    return !answer && lost ? ask_once(question, lost) : std::move(answer);
  }
  // For a question that tells a visitor what it finds, which must not hear it twice.
  template <class Question>
  auto ask_once(const Question& question, bool& lost)
      -> decltype(question(std::declval<Connection&>())) {
    auto connection = take();
    if (!connection) {
      return std::move(connection).error();
    }
    auto answer = question(**connection);
    lost = (*connection)->lost();
    give(std::move(*connection));
    return answer;
  }

 private:
  // Waits while limits::kDatabaseReadersMax are in use, limits::kDatabaseStatementWait at most.
  base::Result<std::unique_ptr<Connection>> take();
  void give(std::unique_ptr<Connection> connection);

  const Home home_;
  const Plans plans_;
  std::mutex mutex_;
  std::condition_variable returned_;
  std::vector<std::unique_ptr<Connection>> idle_;
  std::size_t in_use_ = 0;
};

}  // namespace engine::journal::postgres

#pragma once
// Where a host is, by the system's search for names, which cannot be ended and may hang for as long
// as no name server answers. Each peer searches on a thread of its own, so that one that hangs
// holds up nobody else, and one search at a time, so that asking again and again piles up nothing.

#include <atomic>
#include <chrono>
#include <functional>
#include <memory>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "engine/delivery/asio_loop.h"

namespace engine::delivery {

class NameSearch {
 public:
  struct Found {
    std::vector<std::string> addresses;  // numeric
    std::string trouble;                 // why there are none
  };
  using Told = std::function<void(const Found&)>;

  NameSearch(AsioLoop& loop, std::string host) : loop_(loop), host_(std::move(host)) {}
  // Waits for a search that is under way.
  ~NameSearch();
  NameSearch(const NameSearch&) = delete;
  NameSearch& operator=(const NameSearch&) = delete;

  // Nobody is told any more, and the loop may go.
  void leave();

  // On the loop. `told` hears the answer there once, be it of the search that is under way; at once
  // where the host is an address, and where a search ended that nobody waited for any more.
  void find(Told told);

 private:
  struct Shared;  // with the thread
  void begin();
  void ended(Found found);

  AsioLoop& loop_;
  const std::string host_;
  std::thread thread_;
  std::shared_ptr<Shared> shared_;
  bool under_way_ = false;
  std::atomic<bool> left_{false};
  std::vector<Told> waiting_;
  Found last_;
  std::chrono::steady_clock::time_point last_at_{};
};

}  // namespace engine::delivery

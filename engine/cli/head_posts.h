#pragma once
// Signed tree heads on their way to places that are reached over HTTP: each new one is posted as
// text/plain to every address. On a loop of its own; nobody waits for an answer. What a place did
// not take is made good by the next head, which covers all before it, or tried again.

#include <chrono>
#include <condition_variable>
#include <cstdint>
#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/delivery/asio_loop.h"
#include "engine/delivery/peer.h"
#include "engine/journal/tree_head.h"

namespace engine::cli {

class HeadPosts {
 public:
  // Errors: kInvalid for an address that is none.
  static base::Result<std::unique_ptr<HeadPosts>> open(const std::vector<std::string>& urls);
  ~HeadPosts();
  HeadPosts(const HeadPosts&) = delete;
  HeadPosts& operator=(const HeadPosts&) = delete;

  // Posts it to the places that have not taken it and have answered what they were given.
  void take(const journal::TreeHead& head);
  // Of the places that did not take the last one: address and cause, a sentence each.
  std::vector<std::string> failing() const;
  // Waits until all have answered, for so long at most.
  void finish(std::chrono::milliseconds most);

 private:
  struct Place {
    std::string url;
    std::unique_ptr<delivery::Peer> peer;
    bool busy = false;
    std::uint64_t taken = 0;  // records of the last head that was taken
    std::string failure;
  };
  HeadPosts() = default;
  void answered(Place& place, std::uint64_t size, const delivery::Reply& reply);

  mutable std::mutex mutex_;  // of the places' last three members
  std::condition_variable idle_;
  delivery::AsioLoop loop_;
  std::vector<std::unique_ptr<Place>> places_;
};

}  // namespace engine::cli

#pragma once
// The writing end of an answer that goes on: server-sent events (WHATWG HTML, section 9.2). Thread
// safe. A reader that does not keep up is cut off (push() closes the stream when the queue is
// full): it comes back with Last-Event-ID, and the engine never grows for it.

#include <cstddef>
#include <cstdint>
#include <deque>
#include <functional>
#include <mutex>
#include <string>
#include <string_view>
#include <utility>

namespace engine::web {

class EventStream {
 public:
  // False when the stream is closed, by either side.
  bool push(std::string bytes);
  void close();
  bool closed() const;
  // The reader may go on as long as `may` says so, which is asked before anything is sent, on the
  // server's thread. Before the stream is handed to the server.
  void only_while(std::function<bool()> may) { may_ = std::move(may); }

  // For the server. Calls `wake` from push() and close(), on their thread.
  void on_change(std::function<void()> wake);
  // Takes everything queued; `closed` tells that nothing follows.
  struct Taken {
    std::string bytes;
    bool closed = false;
  };
  Taken take();
  bool may_go_on() const { return !may_ || may_(); }

 private:
  std::function<bool()> may_;
  mutable std::mutex mutex_;
  std::deque<std::string> queue_;
  std::size_t queued_bytes_ = 0;
  bool closed_ = false;
  std::function<void()> wake_;
};

// One event in its wire form. `data` may have several lines.
std::string to_event(std::uint64_t id, std::string_view type, std::string_view data);

}  // namespace engine::web

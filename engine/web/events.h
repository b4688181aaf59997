#pragma once
// Follows the journal and tells every open event stream what was written, by whichever process. A
// reader that comes back with Last-Event-ID gets what it missed.

#include <cstdint>
#include <memory>
#include <mutex>
#include <vector>

#include "engine/journal/store.h"
#include "engine/web/event_stream.h"

namespace engine::web {

class Events {
 public:
  explicit Events(const journal::Store& store) : store_(store) {}
  // `after`: the last position the reader has seen; nullopt for only what comes.
  std::shared_ptr<EventStream> open(std::optional<journal::Position> after);
  // Call it now and then; costs one look at the journal's end when nothing is new.
  void follow();
  // The journal is what it was up to `same` and lost what was told behind it: readers hear what is
  // there now.
  void tell_again(journal::Position same);
  void close();

 private:
  const journal::Store& store_;
  std::mutex mutex_;
  std::vector<std::shared_ptr<EventStream>> streams_;
  journal::Position told_ = 0;
};

}  // namespace engine::web

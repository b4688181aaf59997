#pragma once
// Follows the journal and tells every open event stream what was written, by whichever process. A
// reader that comes back with Last-Event-ID gets what it missed.

#include <cstdint>
#include <memory>
#include <mutex>
#include <vector>

#include "engine/journal/log_marks.h"
#include "engine/journal/store.h"
#include "engine/web/event_stream.h"

namespace engine::web {

class Events {
 public:
  explicit Events(const journal::Store& store) : store_(store) {}
  // `after`: the last position the reader has seen; nullopt for only what comes.
  std::shared_ptr<EventStream> open(std::optional<journal::Position> after);
  // Call it now and then; costs one look at the journal's end when nothing is new. When the journal
  // lost what was told (log_marks.h), readers hear what is there now.
  void follow();
  void close();

 private:
  void tell_again(journal::Position same);

  const journal::Store& store_;
  std::mutex mutex_;
  std::vector<std::shared_ptr<EventStream>> streams_;
  journal::Position told_ = 0;
  journal::LogMarks marks_;  // of what was told
};

}  // namespace engine::web

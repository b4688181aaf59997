#include "engine/web/event_stream.h"

#include <algorithm>
#include <utility>

#include "engine/base/limits.h"

namespace engine::web {

bool EventStream::push(std::string bytes) {
  std::function<void()> wake;
  bool open = false;
  {
    const std::lock_guard lock(mutex_);
    if (closed_) {
      return false;
    }
    if (queued_bytes_ + bytes.size() > base::limits::kEventQueueBytesMax) {
      closed_ = true;
    } else {
      queued_bytes_ += bytes.size();
      queue_.push_back(std::move(bytes));
      open = true;
    }
    wake = wake_;
  }
  if (wake) {
    wake();
  }
  return open;
}

void EventStream::close() {
  std::function<void()> wake;
  {
    const std::lock_guard lock(mutex_);
    closed_ = true;
    wake = wake_;
  }
  if (wake) {
    wake();
  }
}

bool EventStream::closed() const {
  const std::lock_guard lock(mutex_);
  return closed_;
}

void EventStream::on_change(std::function<void()> wake) {
  const std::lock_guard lock(mutex_);
  wake_ = std::move(wake);
}

EventStream::Taken EventStream::take() {
  const std::lock_guard lock(mutex_);
  Taken taken;
  for (const std::string& bytes : queue_) {
    taken.bytes += bytes;
  }
  queue_.clear();
  queued_bytes_ = 0;
  taken.closed = closed_;
  return taken;
}

std::string to_event(std::uint64_t id, std::string_view type, std::string_view data) {
  std::string out = "id: " + std::to_string(id) + "\nevent: " + std::string(type) + "\n";
  while (true) {
    const std::size_t end = std::min(data.find('\n'), data.size());
    out.append("data: ").append(data.substr(0, end)).append("\n");
    if (end >= data.size()) {
      break;
    }
    data.remove_prefix(end + 1);
  }
  return out + "\n";
}

}  // namespace engine::web

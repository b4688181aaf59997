#include "engine/web/events.h"

#include <algorithm>

#include "engine/base/limits.h"
#include "engine/web/session_view.h"

namespace engine::web {
namespace {

std::string event_of(const journal::Record& record) {
  return to_event(record.position, journal::name_of(record.kind), record_view(record));
}

// Reads of the log and sign-ins concern auditors, and what senders were told the senders; not the
// page.
bool of_interest(const journal::Record& record) {
  using journal::Kind;
  switch (record.kind) {
    case Kind::kUnreadable:
    case Kind::kRead:
    case Kind::kNoticed:
    case Kind::kSignedIn:
    case Kind::kSignedOut:
    case Kind::kNotLetIn:
      return false;
    default:
      return true;
  }
}

}  // namespace

std::shared_ptr<EventStream> Events::open(std::optional<journal::Position> after) {
  const std::lock_guard lock(mutex_);
  if (streams_.empty() && marks_.look(store_)) {
    told_ = marks_.end();
  }
  auto stream = std::make_shared<EventStream>();
  stream->push(":\n\n");
  if (after && *after < told_) {
    journal::Query query;
    query.after = *after;
    query.limit = base::limits::kEventsCatchUpMax;
    const auto missed = store_.search(query);
    for (const journal::Record& record : missed ? *missed : std::vector<journal::Record>()) {
      if (record.position <= told_ && of_interest(record)) {
        stream->push(event_of(record));
      }
    }
  }
  streams_.push_back(stream);
  return stream;
}

void Events::follow() {
  const std::lock_guard lock(mutex_);
  const auto closed = std::remove_if(streams_.begin(), streams_.end(),
                                     [](const auto& stream) { return stream->closed(); });
  streams_.erase(closed, streams_.end());
  if (streams_.empty()) {
    return;
  }
  const auto same = marks_.look(store_);
  if (!same) {
    return;
  }
  if (same->has_value()) {
    tell_again(**same);
  }
  journal::Query query;
  query.after = told_;
  query.limit = base::limits::kEventsCatchUpMax;
  const auto fresh = store_.search(query);
  for (const journal::Record& record : fresh ? *fresh : std::vector<journal::Record>()) {
    if (record.position > marks_.end()) {
      break;  // what lies behind the mark could be lost without a trace
    }
    told_ = record.position;
    if (!of_interest(record)) {
      continue;
    }
    const std::string event = event_of(record);
    for (const auto& stream : streams_) {
      stream->push(event);
    }
  }
}

void Events::tell_again(journal::Position same) {
  const journal::Position last = marks_.end();
  const journal::Position first =
      last - std::min<journal::Position>(last, base::limits::kEventsCatchUpMax);
  told_ = std::min(told_, std::max(same, first));
}

void Events::close() {
  const std::lock_guard lock(mutex_);
  for (const auto& stream : streams_) {
    stream->close();
  }
  streams_.clear();
}

}  // namespace engine::web

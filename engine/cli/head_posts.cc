#include "engine/cli/head_posts.h"

#include <algorithm>
#include <utility>

#include "engine/base/limits.h"
#include "engine/delivery/http_peer.h"

namespace engine::cli {

base::Result<std::unique_ptr<HeadPosts>> HeadPosts::open(const std::vector<std::string>& urls) {
  std::unique_ptr<HeadPosts> out(new HeadPosts());
  for (const std::string& text : urls) {
    auto url = delivery::parse_base_url(text);
    if (!url) {
      return std::move(url).error();
    }
    delivery::PeerConfig config(std::move(*url));
    config.media_type = "text/plain";
    config.answer_timeout = base::limits::kNoticeTimeout;
    auto peer = delivery::make_http_peer(out->loop_, std::move(config));
    if (!peer) {
      return std::move(peer).error();
    }
    out->places_.push_back(std::make_unique<Place>());
    out->places_.back()->url = text;
    out->places_.back()->peer = std::move(*peer);
  }
  return out;
}

// No answer comes in any more while the places go.
HeadPosts::~HeadPosts() {
  loop_.stop();
}

void HeadPosts::take(const journal::TreeHead& head) {
  for (const std::unique_ptr<Place>& place : places_) {
    {
      const std::lock_guard lock(mutex_);
      if (place->busy || place->taken == head.size) {
        continue;
      }
      place->busy = true;
    }
    loop_.post([this, to = place.get(), size = head.size, line = journal::print_tree_head(head)] {
      to->peer->call(
          {"POST", "", line, "head." + std::to_string(size)},
          [this, to, size](const delivery::Reply& reply) { answered(*to, size, reply); });
    });
  }
}

void HeadPosts::answered(Place& place, std::uint64_t size, const delivery::Reply& reply) {
  const std::lock_guard lock(mutex_);
  const bool there = reply.fate == delivery::Reply::Fate::kAnswered;
  if (there && reply.status >= 200 && reply.status < 300) {
    place.taken = size;
    place.failure.clear();
  } else {
    place.failure = "the tree head was not taken: " +
                    (there ? "HTTP " + std::to_string(reply.status) : reply.failure) + " (" +
                    place.url + ")";
  }
  place.busy = false;
  idle_.notify_all();
}

std::vector<std::string> HeadPosts::failing() const {
  const std::lock_guard lock(mutex_);
  std::vector<std::string> out;
  for (const std::unique_ptr<Place>& place : places_) {
    if (!place->failure.empty()) {
      out.push_back(place->failure);
    }
  }
  return out;
}

void HeadPosts::finish(std::chrono::milliseconds most) {
  std::unique_lock lock(mutex_);
  idle_.wait_for(lock, most, [this] {
    return std::none_of(places_.begin(), places_.end(),
                        [](const std::unique_ptr<Place>& place) { return place->busy; });
  });
}

}  // namespace engine::cli

#include "engine/delivery/name_search.h"

#include <system_error>
#include <utility>

#include <boost/asio/ip/address.hpp>
#include <netdb.h>

#include "engine/base/limits.h"

namespace engine::delivery {
namespace {

struct FreeAddresses {
  void operator()(addrinfo* list) const { ::freeaddrinfo(list); }
};

NameSearch::Found look_up(const std::string& host) {
  NameSearch::Found out;
  addrinfo hints{};
  hints.ai_family = AF_UNSPEC;
  hints.ai_socktype = SOCK_STREAM;
  hints.ai_flags = AI_ADDRCONFIG;
  addrinfo* list = nullptr;
  const int failed = ::getaddrinfo(host.c_str(), nullptr, &hints, &list);
  const std::unique_ptr<addrinfo, FreeAddresses> freed(failed == 0 ? list : nullptr);
  for (const addrinfo* one = freed.get(); one != nullptr; one = one->ai_next) {
    char text[NI_MAXHOST];
    if (::getnameinfo(one->ai_addr, one->ai_addrlen, text, sizeof text, nullptr, 0,
                      NI_NUMERICHOST) == 0) {
      out.addresses.emplace_back(text);
    }
  }
  if (out.addresses.empty()) {
    out.trouble = failed != 0 ? ::gai_strerror(failed) : "the name has no address";
  }
  return out;
}

bool is_address(const std::string& host) {
  boost::system::error_code error;
  boost::asio::ip::make_address(host, error);
  return !error;
}

}  // namespace

struct NameSearch::Shared {
  std::mutex mutex;
  NameSearch* owner = nullptr;  // none any more when it has gone
};

void NameSearch::leave() {
  left_ = true;
  if (shared_) {
    const std::lock_guard lock(shared_->mutex);
    shared_->owner = nullptr;
  }
}

NameSearch::~NameSearch() {
  leave();
  if (thread_.joinable()) {
    thread_.join();
  }
}

void NameSearch::find(Told told) {
  const auto now = std::chrono::steady_clock::now();
  if (left_) {
    told({{}, "nobody waits for it any more"});
    return;
  }
  if (is_address(host_)) {
    told({{host_}, ""});
    return;
  }
  if (!under_way_ && !last_.addresses.empty() && now - last_at_ < base::limits::kResolveTimeout) {
    told(last_);
    return;
  }
  waiting_.push_back(std::move(told));
  if (!under_way_) {
    begin();
  }
}

void NameSearch::begin() {
  if (thread_.joinable()) {
    thread_.join();  // it has said what it found
  }
  shared_ = std::make_shared<Shared>();
  shared_->owner = this;
  under_way_ = true;
  try {
    thread_ = std::thread([shared = shared_, host = host_] {
      Found found = look_up(host);
      const std::lock_guard lock(shared->mutex);
      if (shared->owner == nullptr) {
        return;
      }
      shared->owner->loop_.post([shared, found = std::move(found)]() mutable {
        NameSearch* owner = nullptr;
        {
          const std::lock_guard again(shared->mutex);
          owner = shared->owner;
        }
        if (owner != nullptr) {
          owner->ended(std::move(found));
        }
      });
    });
  } catch (const std::system_error& error) {
    ended({{}, error.what()});
  }
}

void NameSearch::ended(Found found) {
  under_way_ = false;
  last_ = std::move(found);
  last_at_ = std::chrono::steady_clock::now();
  const Found said = last_;
  for (const Told& told : std::exchange(waiting_, {})) {
    told(said);
  }
}

}  // namespace engine::delivery

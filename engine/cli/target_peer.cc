#include "engine/cli/target_peer.h"

#include <algorithm>
#include <future>
#include <utility>

#include "engine/cli/read_file.h"
#include "engine/cli/system_seams.h"
#include "engine/delivery/fitting_peer.h"

namespace engine::cli {

base::Result<delivery::PeerConfig> peer_config_of(const TargetConfig& target) {
  auto url = delivery::parse_base_url(target.url);
  if (!url) {
    return std::move(url).error();
  }
  delivery::PeerConfig config(std::move(*url));
  config.ca_file = target.ca_file;
  if (!target.authorization_file.empty()) {
    if (config.url.in_clear()) {
      return base::Error(base::ErrorCode::kInvalid,
                         "an authorization goes to an https:// address, or to this machine "
                         "(127.0.0.1, [::1], localhost)",
                         target.url);
    }
    auto text = read_file(target.authorization_file);
    if (!text) {
      return std::move(text).error();
    }
    if (auto rights = check_rights(target.authorization_file, "the authorization file"); !rights) {
      return std::move(rights).error();
    }
    config.authorization = text->substr(0, text->find_last_not_of("\r\n") + 1);
    const bool line =
        std::none_of(config.authorization.begin(), config.authorization.end(),
                     [](char c) { return static_cast<unsigned char>(c) < ' ' || c == 0x7F; });
    if (!line) {
      return base::Error(base::ErrorCode::kInvalid,
                         "an authorization file holds one line, the value of the header, and no "
                         "control characters",
                         target.authorization_file);
    }
  }
  return config;
}

base::Result<std::unique_ptr<TargetPeer>> TargetPeer::open(const TargetConfig& target) {
  auto config = peer_config_of(target);
  if (!config) {
    return std::move(config).error();
  }
  std::unique_ptr<TargetPeer> opened(new TargetPeer());
  auto peer = delivery::make_http_peer(opened->loop_, std::move(*config));
  if (!peer) {
    return std::move(peer).error();
  }
  opened->peer_ = std::move(*peer);
  return opened;
}

base::Result<std::unique_ptr<TargetPeer>> TargetPeer::open_fitting(const TargetConfig& target) {
  auto opened = open(target);
  if (opened) {
    (*opened)->peer_ = delivery::make_fitting_peer(std::move((*opened)->peer_));
  }
  return opened;
}

delivery::Reply TargetPeer::call(delivery::Call call) {
  std::promise<delivery::Reply> promise;
  std::future<delivery::Reply> reply = promise.get_future();
  loop_.post([this, &promise, &call] {
    peer_->call(std::move(call),
                [&promise](delivery::Reply answer) { promise.set_value(std::move(answer)); });
  });
  return reply.get();
}

delivery::Reply TargetPeer::get(const std::string& path) {
  return call({"GET", path, "", "chartferry"});
}

delivery::Reply TargetPeer::post(std::string bundle, bool in_pieces) {
  delivery::Call message("POST", "", std::move(bundle), "chartferry");
  message.in_pieces = in_pieces;
  return call(std::move(message));
}

delivery::Conclusion TargetPeer::exchange(delivery::Consignment consignment) {
  const SystemClock clock;
  const auto owner = std::make_shared<int>();
  std::promise<delivery::Conclusion> promise;
  std::future<delivery::Conclusion> conclusion = promise.get_future();
  loop_.post([&, this] {
    delivery::start_exchange(
        {*peer_, clock, owner}, std::move(consignment),
        [&promise](delivery::Conclusion came) { promise.set_value(std::move(came)); });
  });
  return conclusion.get();
}

}  // namespace engine::cli

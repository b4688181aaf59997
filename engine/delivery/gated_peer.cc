#include "engine/delivery/gated_peer.h"

#include <utility>

namespace engine::delivery {
namespace {

class Gated final : public Peer {
 public:
  Gated(std::unique_ptr<Peer> server, Loop& loop, std::function<bool()> may_send)
      : server_(std::move(server)), loop_(loop), may_send_(std::move(may_send)) {}

  void call(Call call, std::function<void(Reply)> done) override {
    if (may_send_()) {
      server_->call(std::move(call), std::move(done));
      return;
    }
    loop_.post([done = std::move(done)] {
      done(Reply(Reply::Fate::kNotSent, "the engine has lost touch with its journal"));
    });
  }
  bool lands_whole() const override { return server_->lands_whole(); }
  bool is_known() const override { return server_->is_known(); }

 private:
  std::unique_ptr<Peer> server_;
  Loop& loop_;
  std::function<bool()> may_send_;
};

}  // namespace

std::unique_ptr<Peer> make_gated_peer(std::unique_ptr<Peer> server, Loop& loop,
                                      std::function<bool()> may_send) {
  return std::make_unique<Gated>(std::move(server), loop, std::move(may_send));
}

}  // namespace engine::delivery

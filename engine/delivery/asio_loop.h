#pragma once
// The real loop: one thread running Asio's io_context.

#include <memory>

#include "engine/delivery/peer.h"

namespace boost::asio {
class io_context;
}

namespace engine::delivery {

class AsioLoop final : public Loop {
 public:
  AsioLoop();
  ~AsioLoop() override;  // stop()
  AsioLoop(const AsioLoop&) = delete;
  AsioLoop& operator=(const AsioLoop&) = delete;

  void post(std::function<void()> work) override;
  void after(std::chrono::milliseconds delay, std::function<void()> work) override;
  // Abandons what still waits and joins the thread.
  void stop();
  boost::asio::io_context& context();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace engine::delivery

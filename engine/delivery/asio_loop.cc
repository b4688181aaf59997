#include "engine/delivery/asio_loop.h"

#include <thread>
#include <utility>

#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>

namespace engine::delivery {

namespace asio = boost::asio;

struct AsioLoop::State {
  asio::io_context context{1};
  asio::executor_work_guard<asio::io_context::executor_type> guard{context.get_executor()};
  std::thread thread;
};

AsioLoop::AsioLoop() : state_(std::make_unique<State>()) {
  State* const state = state_.get();
  state->thread = std::thread([state] { state->context.run(); });
}

AsioLoop::~AsioLoop() {
  stop();
}

void AsioLoop::post(std::function<void()> work) {
  asio::post(state_->context, std::move(work));
}

void AsioLoop::after(std::chrono::milliseconds delay, std::function<void()> work) {
  auto timer = std::make_shared<asio::steady_timer>(state_->context, delay);
  timer->async_wait([timer, work = std::move(work)](boost::system::error_code error) {
    if (!error) {
      work();
    }
  });
}

void AsioLoop::stop() {
  state_->context.stop();
  if (state_->thread.joinable()) {
    state_->thread.join();
  }
}

asio::io_context& AsioLoop::context() {
  return state_->context;
}

}  // namespace engine::delivery

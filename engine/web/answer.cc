#include "engine/web/answer.h"

#include <atomic>
#include <utility>

namespace engine::web {

class Answer::Once {
 public:
  explicit Once(Deliver deliver) : deliver_(std::move(deliver)) {}
  ~Once() { give(Response(500, "text/plain", "the request was not answered\n")); }
  Once(const Once&) = delete;
  Once& operator=(const Once&) = delete;

  void give(Response response) {
    if (!called_.exchange(true)) {
      deliver_(std::move(response));
    }
  }

 private:
  Deliver deliver_;
  std::atomic<bool> called_{false};
};

Answer::Answer(Deliver deliver) : once_(std::make_shared<Once>(std::move(deliver))) {}
Answer::Answer(std::shared_ptr<Once> once) : once_(std::move(once)) {}

void Answer::operator()(Response response) const {
  if (finish_) {
    finish_(response);
  }
  once_->give(std::move(response));
}

Answer Answer::then(std::function<void(Response& response)> finish) const {
  Answer next(once_);
  next.finish_ = [before = finish_, finish = std::move(finish)](Response& response) {
    if (before) {
      before(response);
    }
    finish(response);
  };
  return next;
}

}  // namespace engine::web

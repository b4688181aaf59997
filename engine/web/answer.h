#pragma once
// The end of a request that its handler holds. Thread safe.

#include <functional>
#include <memory>

#include "engine/web/http_message.h"

namespace engine::web {

// Answers one request, at most once; copies share that. When the last copy goes without having been
// called, the client gets a 500. Calling it after the server has stopped is safe and does nothing.
class Answer {
 public:
  // Brings the response to whoever waits for it; called once.
  using Deliver = std::function<void(Response response)>;
  explicit Answer(Deliver deliver);
  void operator()(Response response) const;
  // The same answer, each response being finished by `finish` first.
  Answer then(std::function<void(Response& response)> finish) const;

 private:
  class Once;
  explicit Answer(std::shared_ptr<Once> once);
  std::shared_ptr<Once> once_;
  std::function<void(Response&)> finish_;
};

}  // namespace engine::web

#pragma once
// The seams of delivery: a record server as the courier sees it, and the loop the courier lives on.
// Each has a real side on Asio and a simulated twin.

#include <chrono>
#include <functional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace engine::delivery {

struct Call {
  std::string method;
  std::string path;  // under the target's base, "" or "/metadata"
  std::string body;
  std::string request_id;
  std::vector<std::pair<std::string, std::string>> headers;  // beyond those that every call has
  std::string content_type;                                  // of a body; empty: the peer's own
  bool in_pieces = false;  // of a transaction: one resource at a time, whatever the server takes
  Call(std::string m, std::string p, std::string b, std::string id)
      : method(std::move(m)), path(std::move(p)), body(std::move(b)), request_id(std::move(id)) {}
};

struct Reply {
  enum class Fate {
    kAnswered,
    kNotSent,   // nothing reached the server: no route, refused, no name, TLS failed
    kNoAnswer,  // sent, wholly or in part, and then silence or a broken connection
  };
  Fate fate = Fate::kAnswered;
  int status = 0;
  std::vector<std::pair<std::string, std::string>> headers;
  std::string body;
  bool body_cut = false;  // longer than limits::kAnswerBytesMax
  bool partly = false;    // some of a bundle had landed before this answer stopped the rest
  std::string about;      // of a bundle in steps: the one resource that it answers, for people
  bool resent = false;    // an earlier try of the same call was not answered, and may be taken
  std::string failure;    // when not answered: the operating system's words

  Reply() = default;
  Reply(Fate f, std::string why) : fate(f), failure(std::move(why)) {}
  std::string_view header(std::string_view lower_case_name) const;
};

class Peer {
 public:
  virtual ~Peer() = default;
  // `done` is called once, on the loop.
  virtual void call(Call call, std::function<void(Reply)> done) = 0;
  // After a first answer: whether what is posted as a transaction lands as a whole or not at all.
  virtual bool lands_whole() const { return true; }
  // Whether that is more than a guess.
  virtual bool is_known() const { return true; }
};

class Loop {
 public:
  virtual ~Loop() = default;
  // From any thread; runs on the loop.
  virtual void post(std::function<void()> work) = 0;
  // On the loop only.
  virtual void after(std::chrono::milliseconds delay, std::function<void()> work) = 0;
};

}  // namespace engine::delivery

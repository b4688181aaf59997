#include "engine/delivery/fitting_peer.h"

#include <optional>
#include <utility>

#include "engine/delivery/carriage.h"
#include "engine/json/document.h"

namespace engine::delivery {
namespace {

// What the server's statement says; nothing when the answer is none, so that it is asked again.
std::optional<Mode> read_statement(const Reply& reply) {
  const json::NameTable names;
  json::Document document(names);
  const bool statement = reply.status == 200 && !reply.body_cut && document.parse(reply.body) &&
                         document.root()->string_at("resourceType") == "CapabilityStatement";
  return statement ? std::optional(mode_of(*document.root())) : std::nullopt;
}

// Says something of the server and not of its statement: away, busy, or the sign-in is refused.
bool stops(const Reply& reply) {
  return reply.fate != Reply::Fate::kAnswered || reply.status == 401 || reply.status == 429 ||
         reply.status >= 500;
}

class Fitting final : public FittingPeer {
 public:
  explicit Fitting(std::unique_ptr<Peer> server)
      : state_(std::make_shared<State>(std::move(server))) {}

  void call(Call call, std::function<void(Reply)> done) override {
    if (call.path == "/metadata") {
      ask_statement(state_, std::move(done));
    } else if (state_->mode) {
      pass(state_, std::move(call), std::move(done));
    } else {
      ask_statement(state_, [state = state_, call = std::move(call),
                             done = std::move(done)](Reply reply) mutable {
        if (stops(reply)) {
          if (reply.fate == Reply::Fate::kNoAnswer) {
            reply.fate = Reply::Fate::kNotSent;  // nothing of the message was
          }
          reply.resent = false;
          done(std::move(reply));
          return;
        }
        // Without a statement the server is taken for one that does what R4 asks for.
        state->mode = state->mode.value_or(Mode::kTransaction);
        pass(state, std::move(call), std::move(done));
      });
    }
  }
  bool lands_whole() const override {
    return state_->mode.value_or(Mode::kTransaction) == Mode::kTransaction;
  }
  bool is_known() const override { return state_->mode.has_value(); }
  std::string_view mode() const override {
    return name_of(state_->mode.value_or(Mode::kTransaction));
  }

 private:
  struct State {
    explicit State(std::unique_ptr<Peer> s) : server(std::move(s)) {}
    std::unique_ptr<Peer> server;
    std::optional<Mode> mode;
  };
  using StatePtr = std::shared_ptr<State>;

  static void ask_statement(const StatePtr& state, std::function<void(Reply)> done) {
    state->server->call(Call("GET", "/metadata", "", ""),
                        [state, done = std::move(done)](Reply reply) {
                          if (const auto mode = read_statement(reply)) {
                            state->mode = mode;
                          }
                          done(std::move(reply));
                        });
  }

  static void pass(const StatePtr& state, Call call, std::function<void(Reply)> done) {
    const bool transaction = call.method == "POST" && call.path.empty();
    if (transaction && (call.in_pieces || *state->mode != Mode::kTransaction)) {
      const Mode mode = call.in_pieces ? Mode::kSingle : *state->mode;
      carry_out(*state->server, mode, std::move(call),
                [state, done = std::move(done)](Reply reply) { done(std::move(reply)); });
    } else {
      state->server->call(std::move(call), std::move(done));
    }
  }

  StatePtr state_;
};

}  // namespace

std::unique_ptr<FittingPeer> make_fitting_peer(std::unique_ptr<Peer> server) {
  return std::make_unique<Fitting>(std::move(server));
}

}  // namespace engine::delivery

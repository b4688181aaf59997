#include "engine/delivery/http_peer.h"

#include <exception>
#include <list>
#include <utility>
#include <vector>

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ssl/context.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http.hpp>
#include <boost/beast/ssl.hpp>

#include "engine/base/limits.h"

namespace engine::delivery {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
using tcp = asio::ip::tcp;

constexpr auto kUseTuple = asio::as_tuple(asio::use_awaitable);
using Message = http::request<http::string_body>;

struct PlainLink {
  explicit PlainLink(asio::io_context& context, asio::ssl::context&) : stream(context) {}
  beast::tcp_stream stream;
  beast::flat_buffer buffer;
  beast::tcp_stream& lowest() { return stream; }
  asio::awaitable<beast::error_code> handshake(std::string) { co_return beast::error_code(); }
};

struct TlsLink {
  TlsLink(asio::io_context& context, asio::ssl::context& tls) : stream(context, tls) {}
  beast::ssl_stream<beast::tcp_stream> stream;
  beast::flat_buffer buffer;
  beast::tcp_stream& lowest() { return beast::get_lowest_layer(stream); }
  asio::awaitable<beast::error_code> handshake(std::string host) {
    SSL_ctrl(stream.native_handle(), SSL_CTRL_SET_TLSEXT_HOSTNAME, TLSEXT_NAMETYPE_host_name,
             host.data());
    SSL_set1_host(stream.native_handle(), host.c_str());
    const auto [error] = co_await stream.async_handshake(asio::ssl::stream_base::client, kUseTuple);
    co_return error;
  }
};

template <class Link>
class HttpPeer final : public Peer {
 public:
  HttpPeer(AsioLoop& loop, PeerConfig config, asio::ssl::context tls)
      : state_(std::make_shared<State>(loop, std::move(config), std::move(tls))) {}

  void call(Call call, std::function<void(Reply)> done) override {
    auto reply = std::make_shared<Reply>(Reply::Fate::kNoAnswer, "the call ended early");
    asio::co_spawn(state_->context, run(state_, std::move(call), reply),
                   [reply, done = std::move(done)](std::exception_ptr problem) {
                     if (problem) {
                       *reply = Reply(Reply::Fate::kNoAnswer, "the call ended early");
                     }
                     done(std::move(*reply));
                   });
  }

 private:
  struct State {
    State(AsioLoop& loop, PeerConfig c, asio::ssl::context t)
        : context(loop.context()), config(std::move(c)), tls(std::move(t)) {}
    asio::io_context& context;
    PeerConfig config;
    asio::ssl::context tls;
    std::vector<std::unique_ptr<Link>> idle;
  };
  using StatePtr = std::shared_ptr<State>;

  static Message to_message(const PeerConfig& config, Call call) {
    Message message(http::string_to_verb(call.method), config.url.path + call.path, 11);
    if (message.target().empty()) {
      message.target("/");
    }
    message.set(http::field::host, config.url.authority());
    message.set(http::field::user_agent, "chartferry");
    message.set(http::field::accept, config.media_type);
    if (!config.authorization.empty()) {
      message.set(http::field::authorization, config.authorization);
    }
    if (!call.request_id.empty()) {
      message.set("X-Request-Id", call.request_id);
    }
    if (call.method == "POST" || call.method == "PUT") {
      message.set(http::field::content_type,
                  call.content_type.empty() ? config.media_type : call.content_type);
      message.set("Prefer", "return=minimal");
      message.body() = std::move(call.body);
    }
    for (const auto& [name, value] : call.headers) {
      message.set(name, value);
    }
    message.prepare_payload();
    return message;
  }

  static asio::awaitable<void> run(StatePtr state, Call call, std::shared_ptr<Reply> reply) {
    const Message message = to_message(state->config, std::move(call));
    while (!state->idle.empty()) {
      std::unique_ptr<Link> link = std::move(state->idle.back());
      state->idle.pop_back();
      const bool stale = co_await exchange(state, link.get(), &message, reply.get());
      if (!stale) {
        keep(state, std::move(link), *reply);
        co_return;
      }
    }
    auto link = std::make_unique<Link>(state->context, state->tls);
    const bool connected = co_await connect(state, link.get(), reply.get());
    if (connected) {
      co_await exchange(state, link.get(), &message, reply.get());
      keep(state, std::move(link), *reply);
    }
  }

  static void keep(const StatePtr& state, std::unique_ptr<Link> link, const Reply& reply) {
    const bool closing = beast::iequals(reply.header("connection"), "close");
    if (reply.fate == Reply::Fate::kAnswered && !reply.body_cut && !closing &&
        state->idle.size() < base::limits::kInFlightSetMax) {
      state->idle.push_back(std::move(link));
    }
  }

  static asio::awaitable<bool> connect(StatePtr state, Link* link, Reply* reply) {
    tcp::resolver resolver(state->context);
    const std::string port = std::to_string(state->config.url.port);
    const std::string host = state->config.url.host;
    const auto [unresolved, endpoints] = co_await resolver.async_resolve(host, port, kUseTuple);
    if (unresolved) {
      *reply = Reply(Reply::Fate::kNotSent, unresolved.message());
      co_return false;
    }
    link->lowest().expires_after(state->config.connect_timeout);
    const auto [refused, endpoint] = co_await link->lowest().async_connect(endpoints, kUseTuple);
    if (refused) {
      *reply = Reply(Reply::Fate::kNotSent, refused.message());
      co_return false;
    }
    boost::system::error_code ignored;
    link->lowest().socket().set_option(tcp::no_delay(true), ignored);
    const beast::error_code untrusted = co_await link->handshake(host);
    if (untrusted) {
      *reply = Reply(Reply::Fate::kNotSent, untrusted.message());
      co_return false;
    }
    co_return true;
  }

  // True when a kept connection turned out to be closed before anything came back.
  static asio::awaitable<bool> exchange(StatePtr state, Link* link, const Message* message,
                                        Reply* reply) {
    link->lowest().expires_after(state->config.answer_timeout);
    const auto [unsent, sent] = co_await http::async_write(link->stream, *message, kUseTuple);
    if (unsent) {
      *reply = Reply(Reply::Fate::kNoAnswer, unsent.message());
      co_return unsent != beast::error::timeout;
    }
    http::response_parser<http::string_body> parser;
    parser.body_limit(base::limits::kAnswerBytesMax);
    parser.header_limit(base::limits::kHttpHeaderBytesMax);
    auto [error, n] = co_await http::async_read(link->stream, link->buffer, parser, kUseTuple);
    if (error && error != http::error::body_limit) {
      *reply = Reply(Reply::Fate::kNoAnswer, error.message());
      co_return !parser.got_some() && error != beast::error::timeout;
    }
    Reply answer;
    answer.body_cut = error == http::error::body_limit;
    answer.status = static_cast<int>(parser.get().result_int());
    for (const auto& field : parser.get()) {
      answer.headers.emplace_back(std::string(field.name_string()), std::string(field.value()));
    }
    if (!parser.keep_alive()) {
      answer.headers.emplace_back("Connection", "close");
    }
    answer.body = std::move(parser.get().body());
    *reply = std::move(answer);
    co_return false;
  }

  StatePtr state_;
};

}  // namespace

base::Result<std::unique_ptr<Peer>> make_http_peer(AsioLoop& loop, PeerConfig config) {
  asio::ssl::context tls(asio::ssl::context::tls_client);
  if (!config.url.tls) {
    return std::unique_ptr<Peer>(
        std::make_unique<HttpPeer<PlainLink>>(loop, std::move(config), std::move(tls)));
  }
  boost::system::error_code error;
  tls.set_options(asio::ssl::context::no_tlsv1 | asio::ssl::context::no_tlsv1_1, error);
  tls.set_verify_mode(asio::ssl::verify_peer, error);
  if (config.ca_file.empty()) {
    tls.set_default_verify_paths(error);
  } else {
    tls.load_verify_file(config.ca_file, error);
  }
  if (error) {
    return base::Error(base::ErrorCode::kIo, "cannot read trusted certificates: " + error.message(),
                       config.ca_file);
  }
  return std::unique_ptr<Peer>(
      std::make_unique<HttpPeer<TlsLink>>(loop, std::move(config), std::move(tls)));
}

}  // namespace engine::delivery

#include "engine/delivery/http_peer.h"

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <exception>
#include <optional>
#include <tuple>
#include <utility>
#include <vector>

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ssl/context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http.hpp>
#include <boost/beast/ssl.hpp>
#include <sys/socket.h>
#include <unistd.h>

#include "engine/base/limits.h"
#include "engine/delivery/name_search.h"
#include "engine/fhir/issue.h"
#include "engine/journal/open_file.h"

namespace engine::delivery {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
using tcp = asio::ip::tcp;

constexpr auto kUseTuple = asio::as_tuple(asio::use_awaitable);
using Message = http::request<http::string_body>;

using Parser = http::response_parser<http::string_body>;
using Moved = std::tuple<beast::error_code, std::size_t>;
using Time = std::chrono::steady_clock::time_point;
constexpr std::size_t kReadBytes = 64 * 1024;

// A connection, plain or under TLS. Messages are written and read over this, so that they are
// compiled once: Beast's own readers and writers are templates of the stream.
class Link {
 public:
  Link() = default;
  virtual ~Link() = default;
  Link(const Link&) = delete;
  Link& operator=(const Link&) = delete;
  virtual beast::tcp_stream& lowest() = 0;
  virtual asio::awaitable<beast::error_code> handshake(std::string host) = 0;
  // All of them.
  virtual asio::awaitable<Moved> write(const std::vector<asio::const_buffer>& bytes) = 0;
  virtual asio::awaitable<Moved> read_some(asio::mutable_buffer to) = 0;
  // Nothing has come that nobody asked for: it would be read as the answer to the next request.
  bool is_silent() {
    char byte = 0;
    const ssize_t got =
        ::recv(lowest().socket().native_handle(), &byte, sizeof byte, MSG_PEEK | MSG_DONTWAIT);
    const bool open_and_empty = got < 0 && (errno == EAGAIN || errno == EWOULDBLOCK);
    return buffer.size() == 0 && open_and_empty && holds_nothing();
  }

  beast::flat_buffer buffer;

 private:
  // Of what was taken from the socket and not yet read.
  virtual bool holds_nothing() { return true; }
};

class PlainLink final : public Link {
 public:
  explicit PlainLink(asio::io_context& context) : stream_(context) {}
  beast::tcp_stream& lowest() override { return stream_; }
  asio::awaitable<beast::error_code> handshake(std::string) override {
    co_return beast::error_code();
  }
  asio::awaitable<Moved> write(const std::vector<asio::const_buffer>& bytes) override {
    co_return co_await asio::async_write(stream_, bytes, kUseTuple);
  }
  asio::awaitable<Moved> read_some(asio::mutable_buffer to) override {
    co_return co_await stream_.async_read_some(to, kUseTuple);
  }

 private:
  beast::tcp_stream stream_;
};

class TlsLink final : public Link {
 public:
  TlsLink(asio::io_context& context, asio::ssl::context& tls) : stream_(context, tls) {}
  beast::tcp_stream& lowest() override { return beast::get_lowest_layer(stream_); }
  asio::awaitable<beast::error_code> handshake(std::string host) override {
    SSL_ctrl(stream_.native_handle(), SSL_CTRL_SET_TLSEXT_HOSTNAME, TLSEXT_NAMETYPE_host_name,
             host.data());
    SSL_set1_host(stream_.native_handle(), host.c_str());
    const auto [error] =
        co_await stream_.async_handshake(asio::ssl::stream_base::client, kUseTuple);
    co_return error;
  }
  asio::awaitable<Moved> write(const std::vector<asio::const_buffer>& bytes) override {
    co_return co_await asio::async_write(stream_, bytes, kUseTuple);
  }
  asio::awaitable<Moved> read_some(asio::mutable_buffer to) override {
    co_return co_await stream_.async_read_some(to, kUseTuple);
  }

 private:
  bool holds_nothing() override {
    const SSL* const tls = stream_.native_handle();
    return SSL_has_pending(tls) == 0 && BIO_ctrl_pending(SSL_get_rbio(tls)) == 0;
  }

  beast::ssl_stream<beast::tcp_stream> stream_;
};

using LinkPtr = std::shared_ptr<Link>;
using MessagePtr = std::shared_ptr<const Message>;

// With how many bytes were handed over.
asio::awaitable<Moved> write_all(LinkPtr link, MessagePtr message) {
  http::request_serializer<http::string_body> serializer{*message};
  beast::error_code error;
  std::size_t all = 0;
  std::vector<asio::const_buffer> bytes;
  while (!error && !serializer.is_done()) {
    bytes.clear();
    serializer.next(error, [&bytes](beast::error_code&, const auto& buffers) {
      for (auto at = asio::buffer_sequence_begin(buffers); at != asio::buffer_sequence_end(buffers);
           ++at) {
        bytes.emplace_back(*at);
      }
    });
    if (!error) {
      std::size_t n = 0;
      std::tie(error, n) = co_await link->write(bytes);
      serializer.consume(n);
      all += n;
    }
  }
  co_return Moved(error, all);
}

asio::awaitable<beast::error_code> read_all(Link& link, Parser& parser) {
  beast::error_code error;
  parser.eager(true);
  while (!parser.is_done()) {
    if (link.buffer.size() > 0) {
      link.buffer.consume(parser.put(link.buffer.data(), error));
      if (error != http::error::need_more) {
        if (error) {
          co_return error;
        }
        continue;
      }
      // What a chunk says beside its size, and the fields behind the last one, are parsed whole,
      // and no limit of the parser's is theirs.
      if (link.buffer.size() > base::limits::kHttpHeaderBytesMax) {
        co_return http::error::header_limit;
      }
      error = {};
    }
    std::size_t n = 0;
    std::tie(error, n) = co_await link.read_some(link.buffer.prepare(kReadBytes));
    if (error == asio::error::eof) {
      error = http::error::end_of_stream;
      if (parser.got_some()) {
        // The end of the connection is the end of an answer that does not say how long it is.
        error = {};
        parser.put_eof(error);
      }
      co_return error;
    }
    if (error) {
      co_return error;
    }
    link.buffer.commit(n);
  }
  co_return beast::error_code();
}

// An answer as it comes. `heard`: bytes of one have come, be they of an interim one.
struct Reading {
  std::optional<Parser> parser;
  bool heard = false;
};

// Up to the final answer. Any number of interim ones may come before it (RFC 9110 section 15.2), so
// that their number is bounded here. 101 is final: nobody asked for another protocol, and what
// follows is in none that is spoken here.
asio::awaitable<beast::error_code> read_final(Link& link, Reading& reading) {
  for (std::size_t interim = 0; interim <= base::limits::kInterimAnswersMax; ++interim) {
    reading.parser.emplace();
    reading.parser->body_limit(base::limits::kAnswerBytesMax);
    reading.parser->header_limit(base::limits::kHttpHeaderBytesMax);
    const beast::error_code error = co_await read_all(link, *reading.parser);
    reading.heard = reading.heard || reading.parser->got_some();
    const unsigned status = reading.parser->get().result_int();
    if (error || status >= 200 || status == 101) {
      co_return error;
    }
  }
  co_return beast::errc::make_error_code(beast::errc::protocol_error);
}

// A message on its way out.
struct Sending {
  explicit Sending(const asio::any_io_executor& executor) : signal(executor, Time::max()) {}
  asio::steady_timer signal;
  bool ended = false;
  beast::error_code error;
  std::size_t bytes = 0;
};

std::shared_ptr<Sending> start_sending(const LinkPtr& link, const MessagePtr& message) {
  const asio::any_io_executor executor = link->lowest().get_executor();
  const auto sending = std::make_shared<Sending>(executor);
  asio::co_spawn(executor, write_all(link, message),
                 [sending](const std::exception_ptr& problem, const Moved& moved) {
                   std::tie(sending->error, sending->bytes) = moved;
                   if (problem) {
                     sending->error = asio::error::no_memory;
                   }
                   sending->ended = true;
                   sending->signal.cancel();
                 });
  return sending;
}

// What came of a message and its answer.
struct Exchanged {
  beast::error_code unsent;
  std::size_t bytes = 0;
  beast::error_code unheard;
};

// Whoever finds a message too large says so while it is still being sent, and may read no more of
// it: so the answer is listened for from the start, and one that is no success ends the sending
// (RFC 9112 section 9.5). A success that comes early is about what the server goes on reading.
asio::awaitable<Exchanged> send_and_hear(LinkPtr link, MessagePtr message, Reading& reading) {
  const auto sending = start_sending(link, message);
  Exchanged out;
  out.unheard = co_await read_final(*link, reading);
  const bool go_on = !out.unheard && reading.parser->get().result_int() < 300;
  const bool cut = !sending->ended && !go_on;
  if (cut) {
    link->lowest().close();
  }
  while (!sending->ended) {
    co_await sending->signal.async_wait(kUseTuple);
  }
  out.unsent = cut && out.unheard ? out.unheard : sending->error;
  out.bytes = sending->bytes;
  co_return out;
}

// Control characters would end the header and begin another one, or another request.
bool is_header_value(std::string_view text) {
  return std::none_of(text.begin(), text.end(), [](char c) {
    const auto byte = static_cast<unsigned char>(c);
    return (byte < ' ' && c != '\t') || byte == 0x7F;
  });
}
bool is_target(std::string_view text) {
  return std::all_of(text.begin(), text.end(), [](char c) { return c > ' ' && c < 0x7F; });
}

// Blames the message, which would stand in the way of all others if it blamed the target.
Reply unfit() {
  fhir::Issue issue;
  issue.code = "value";
  issue.text = "A header of the request would hold a character that none may have; it was not sent";
  Reply reply;
  reply.status = 400;
  reply.body = fhir::to_operation_outcome({&issue, 1});
  return reply;
}

class HttpPeer final : public Peer {
 public:
  HttpPeer(AsioLoop& loop, PeerConfig config, asio::ssl::context tls)
      : state_(std::make_shared<State>(loop, std::move(config), std::move(tls))) {}
  // What is under way holds the state until the loop goes.
  ~HttpPeer() override { state_->names.leave(); }
  HttpPeer(const HttpPeer&) = delete;
  HttpPeer& operator=(const HttpPeer&) = delete;

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
        : context(loop.context()),
          config(std::move(c)),
          tls(std::move(t)),
          names(loop, config.url.host) {}
    asio::io_context& context;
    PeerConfig config;
    asio::ssl::context tls;
    NameSearch names;
    std::vector<LinkPtr> idle;
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
    // Without it a server may pack its answers (RFC 9110 12.5.3), and nothing here unpacks them.
    message.set(http::field::accept_encoding, "identity");
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

  static bool is_fit(const Message& message) {
    return is_target(message.target()) &&
           std::all_of(message.begin(), message.end(),
                       [](const auto& field) { return is_header_value(field.value()); });
  }

  static asio::awaitable<void> run(StatePtr state, Call call, std::shared_ptr<Reply> reply) {
    const auto message =
        std::make_shared<const Message>(to_message(state->config, std::move(call)));
    if (!is_fit(*message)) {
      *reply = unfit();
      co_return;
    }
    const Time begun = std::chrono::steady_clock::now();
    const Time kept_end = begun + state->config.answer_timeout;
    const Time end = kept_end + base::limits::kResolveTimeout + state->config.connect_timeout;
    Try before = Try::kUnsent;
    if (!state->idle.empty()) {
      LinkPtr link = std::move(state->idle.back());
      state->idle.pop_back();
      if (link->is_silent()) {
        before = co_await exchange(link, message, reply.get(), kept_end);
      }
      if (before == Try::kEnded) {
        keep(state, std::move(link), *reply);
        co_return;
      }
      // The server ended it; the others were left alone for longer still.
      state->idle.clear();
    }
    LinkPtr link;
    if (state->config.url.tls) {
      link = std::make_shared<TlsLink>(state->context, state->tls);
    } else {
      link = std::make_shared<PlainLink>(state->context);
    }
    const bool connected = co_await connect(state, link.get(), reply.get());
    if (connected) {
      const Time answer_end = std::chrono::steady_clock::now() + state->config.answer_timeout;
      co_await exchange(link, message, reply.get(), std::min(answer_end, end));
      keep(state, std::move(link), *reply);
    }
    // What went out over the kept connection may have been read before that ended.
    reply->resent = before == Try::kSent;
    if (reply->resent && reply->fate == Reply::Fate::kNotSent) {
      reply->fate = Reply::Fate::kNoAnswer;
    }
  }

  static void keep(const StatePtr& state, LinkPtr link, const Reply& reply) {
    const bool closing = beast::iequals(reply.header("connection"), "close");
    const bool whole = reply.fate == Reply::Fate::kAnswered && reply.status >= 200 &&
                       !reply.body_cut && link->is_silent();
    if (whole && !closing && state->idle.size() < base::limits::kInFlightSetMax) {
      state->idle.push_back(std::move(link));
    }
  }

  struct Waiting {
    explicit Waiting(asio::io_context& context) : patience(context) {}
    asio::steady_timer patience;
    std::optional<NameSearch::Found> found;
  };

  // The search cannot be ended; it can be left alone.
  static asio::awaitable<NameSearch::Found> resolve(StatePtr state) {
    const auto waiting = std::make_shared<Waiting>(state->context);
    waiting->patience.expires_after(base::limits::kResolveTimeout);
    state->names.find([waiting](const NameSearch::Found& found) {
      waiting->found = found;
      waiting->patience.cancel();
    });
    if (!waiting->found) {
      co_await waiting->patience.async_wait(kUseTuple);
    }
    co_return waiting->found.value_or(NameSearch::Found{{}, "no name server answers"});
  }

  static asio::awaitable<bool> connect(StatePtr state, Link* link, Reply* reply) {
    const std::string host = state->config.url.host;
    const NameSearch::Found found = co_await resolve(state);
    std::vector<tcp::endpoint> endpoints;
    for (const std::string& address : found.addresses) {
      boost::system::error_code error;
      const auto parsed = asio::ip::make_address(address, error);
      if (!error) {
        endpoints.emplace_back(parsed, state->config.url.port);
      }
    }
    if (endpoints.empty()) {
      *reply = Reply(Reply::Fate::kNotSent, found.trouble);
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

  enum class Try {
    kEnded,   // with an answer, or without one for good
    kUnsent,  // the connection was closed already: nothing of the message went out
    kSent,    // closed at once and without a word when the message, or some of it, was sent
  };

  // A server closes a connection that it finds idle; a message that crosses that is sent again. One
  // that ends later was being looked at.
  static asio::awaitable<Try> exchange(LinkPtr link, MessagePtr message, Reply* reply, Time end) {
    const auto start = std::chrono::steady_clock::now();
    link->lowest().expires_at(end);
    Reading reading;
    const auto [unsent, bytes, error] = co_await send_and_hear(link, message, reading);
    Parser& parser = *reading.parser;
    if ((error && error != http::error::body_limit) || unsent == beast::error::timeout) {
      *reply = Reply(Reply::Fate::kNoAnswer, (unsent ? unsent : error).message());
      const bool in_time = unsent != beast::error::timeout && error != beast::error::timeout;
      const bool at_once =
          std::chrono::steady_clock::now() - start < base::limits::kStaleConnectionMax;
      if (reading.heard || !in_time || !at_once) {
        co_return Try::kEnded;
      }
      co_return !unsent || bytes > 0 ? Try::kSent : Try::kUnsent;
    }
    Reply answer;
    answer.body_cut = error == http::error::body_limit;
    answer.status = static_cast<int>(parser.get().result_int());
    for (const auto& field : parser.get()) {
      answer.headers.emplace_back(std::string(field.name_string()), std::string(field.value()));
    }
    if (unsent || !parser.keep_alive()) {
      answer.headers.emplace_back("Connection", "close");
    }
    answer.body = std::move(parser.get().body());
    *reply = std::move(answer);
    co_return Try::kEnded;
  }

  StatePtr state_;
};

}  // namespace

base::Result<std::unique_ptr<Peer>> make_http_peer(AsioLoop& loop, PeerConfig config) {
  asio::ssl::context tls(asio::ssl::context::tls_client);
  if (!config.url.tls) {
    return std::unique_ptr<Peer>(
        std::make_unique<HttpPeer>(loop, std::move(config), std::move(tls)));
  }
  boost::system::error_code error;
  tls.set_options(asio::ssl::context::no_tlsv1 | asio::ssl::context::no_tlsv1_1, error);
  tls.set_verify_mode(asio::ssl::verify_peer, error);
  if (config.ca_file.empty()) {
    tls.set_default_verify_paths(error);
  } else {
    const auto there = journal::open_to_read(config.ca_file);
    if (!there) {
      return base::Error(base::ErrorCode::kIo,
                         "cannot read trusted certificates: " + there.error().detail,
                         config.ca_file);
    }
    ::close(*there);
    tls.load_verify_file(config.ca_file, error);
  }
  if (error) {
    return base::Error(base::ErrorCode::kIo, "cannot read trusted certificates: " + error.message(),
                       config.ca_file);
  }
  return std::unique_ptr<Peer>(std::make_unique<HttpPeer>(loop, std::move(config), std::move(tls)));
}

}  // namespace engine::delivery

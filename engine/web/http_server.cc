#include "engine/web/http_server.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <list>
#include <map>
#include <optional>
#include <thread>
#include <tuple>
#include <utility>
#include <vector>

#include <boost/asio/as_tuple.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/ssl/context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/asio/write.hpp>
#include <boost/beast/core/buffers_to_string.hpp>
#include <boost/beast/core/flat_buffer.hpp>
#include <boost/beast/core/tcp_stream.hpp>
#include <boost/beast/http.hpp>
#include <boost/beast/ssl.hpp>
#include <openssl/err.h>
#include <openssl/ssl.h>

#include "engine/base/network.h"
#include "engine/web/event_stream.h"
#include "engine/web/own_words.h"
#include "engine/web/request_head.h"

namespace engine::web {
namespace {

namespace asio = boost::asio;
namespace beast = boost::beast;
namespace http = boost::beast::http;
using tcp = asio::ip::tcp;

constexpr auto kUseTuple = asio::as_tuple(asio::use_awaitable);
using Parser = http::request_parser<http::string_body>;
using Message = http::response<http::string_body>;
using Plain = beast::tcp_stream;
using Secure = beast::ssl_stream<beast::tcp_stream&>;
constexpr std::size_t kIdleReadBytes = 4 * 1024;  // held by every connection that waits
constexpr std::size_t kReadBytes = 64 * 1024;
constexpr const char* kStrictTransport = "max-age=31536000";  // RFC 6797, for a year
using Moved = std::tuple<beast::error_code, std::size_t>;

// Bytes of a connection, plain or under TLS. The messages are read and written over this, so that
// they are compiled once: Beast's own readers and writers are templates of the stream, and cost a
// minute of compiling for each.
class Wire {
 public:
  Wire() = default;
  virtual ~Wire() = default;
  Wire(const Wire&) = delete;
  Wire& operator=(const Wire&) = delete;
  virtual asio::awaitable<Moved> read_some(asio::mutable_buffer to) = 0;
  // All of them.
  virtual asio::awaitable<Moved> write(const std::vector<asio::const_buffer>& bytes) = 0;
  // Says that nothing follows, as far as the stream has a word for it.
  virtual asio::awaitable<void> farewell() = 0;
};

class PlainWire final : public Wire {
 public:
  explicit PlainWire(Plain& stream) : stream_(stream) {}
  asio::awaitable<Moved> read_some(asio::mutable_buffer to) override {
    co_return co_await stream_.async_read_some(to, kUseTuple);
  }
  asio::awaitable<Moved> write(const std::vector<asio::const_buffer>& bytes) override {
    co_return co_await asio::async_write(stream_, bytes, kUseTuple);
  }
  asio::awaitable<void> farewell() override { co_return; }

 private:
  Plain& stream_;
};

class SecureWire final : public Wire {
 public:
  explicit SecureWire(Secure& stream) : stream_(stream) {}
  asio::awaitable<Moved> read_some(asio::mutable_buffer to) override {
    co_return co_await stream_.async_read_some(to, kUseTuple);
  }
  asio::awaitable<Moved> write(const std::vector<asio::const_buffer>& bytes) override {
    co_return co_await asio::async_write(stream_, bytes, kUseTuple);
  }
  asio::awaitable<void> farewell() override {
    // One way only: the client's own farewell is not waited for.
    SSL_set_shutdown(stream_.native_handle(), SSL_RECEIVED_SHUTDOWN);
    co_await stream_.async_shutdown(kUseTuple);
  }

 private:
  Secure& stream_;
};

// Until `done` says so, or the bytes are wrong or end.
template <class Done>
asio::awaitable<beast::error_code> read_until(Wire& wire, beast::flat_buffer& buffer,
                                              Parser& parser, Done done) {
  beast::error_code error;
  while (!done(parser)) {
    if (buffer.size() > 0) {
      buffer.consume(parser.put(buffer.data(), error));
      if (error != http::error::need_more) {
        if (error) {
          co_return error;
        }
        continue;
      }
      // What a chunk says beside its size, and the fields behind the last one, are parsed whole,
      // and no limit of the parser's is theirs.
      if (buffer.size() > base::limits::kHttpHeaderBytesMax) {
        co_return http::error::header_limit;
      }
      error = {};
    }
    std::size_t n = 0;
    std::tie(error, n) = co_await wire.read_some(buffer.prepare(kReadBytes));
    if (error == asio::error::eof) {
      error = http::error::end_of_stream;
      if (parser.got_some()) {
        error = {};
        parser.put_eof(error);
      }
      if (error || parser.is_done()) {
        co_return error;
      }
      error = http::error::partial_message;
    }
    if (error) {
      co_return error;
    }
    buffer.commit(n);
  }
  co_return beast::error_code();
}

// What the serializer has left, or its header alone.
template <class Serializer>
asio::awaitable<beast::error_code> write_all(Wire& wire, Serializer& serializer, bool header_only) {
  beast::error_code error;
  std::vector<asio::const_buffer> bytes;
  while (!error && !(header_only ? serializer.is_header_done() : serializer.is_done())) {
    bytes.clear();
    serializer.next(error, [&bytes](beast::error_code&, const auto& buffers) {
      for (auto at = asio::buffer_sequence_begin(buffers); at != asio::buffer_sequence_end(buffers);
           ++at) {
        bytes.emplace_back(*at);
      }
    });
    if (!error) {
      std::size_t n = 0;
      std::tie(error, n) = co_await wire.write(bytes);
      serializer.consume(n);
    }
  }
  co_return error;
}

bool may_have_body(int status) {
  return status >= 200 && status != 204 && status != 304;
}

Message to_message(Response& response, unsigned version, bool keep_alive, bool secret) {
  Message message{static_cast<http::status>(response.status), version};
  if (secret) {
    message.set(http::field::strict_transport_security, kStrictTransport);
  }
  message.set(http::field::date, http_date());
  for (const Header& header : response.headers) {
    message.insert(header.name, header.value);
  }
  message.keep_alive(keep_alive);
  if (may_have_body(response.status)) {
    message.body() = std::move(response.body);
    message.content_length(message.body().size());
  }
  return message;
}

// Bytes of one request's body, counted among those of all.
class BodyBytes {
 public:
  explicit BodyBytes(std::size_t& all) : all_(all) {}
  ~BodyBytes() { count(0); }
  BodyBytes(const BodyBytes&) = delete;
  BodyBytes& operator=(const BodyBytes&) = delete;
  void count(std::size_t now) {
    all_ = all_ - held_ + now;
    held_ = now;
  }

 private:
  std::size_t& all_;
  std::size_t held_ = 0;
};

// Without the body.
Request head_of(const Parser& parser, std::string peer) {
  const auto& message = parser.get();
  Request request;
  request.method = std::string(message.method_string());
  request.target = std::string(message.target());
  for (const auto& field : message) {
    request.headers.push_back({std::string(field.name_string()), std::string(field.value())});
  }
  request.peer = std::move(peer);
  return request;
}

// What a client is told about bytes that are no request. 0: nothing, it went away or took too long
// (a tcp_stream closes its socket on a timeout).
int status_of(beast::error_code error) {
  if (error == http::error::body_limit) {
    return 413;
  }
  if (error == http::error::header_limit) {
    return 431;
  }
  const bool parse_error =
      error.category() == http::make_error_code(http::error::bad_version).category();
  if (parse_error && error != http::error::end_of_stream && error != http::error::partial_message) {
    return 400;
  }
  return 0;
}

// A connection's end of an answer: only the server's thread touches it, and it goes with its
// connection.
struct Waiting {
  explicit Waiting(asio::io_context& context)
      : signal(context, asio::steady_timer::time_point::max()) {}
  asio::steady_timer signal;
  std::optional<Response> response;
};

// Both pointers are weak, so that an answer may come after connection and server have gone.
Answer answer_for(const std::shared_ptr<asio::io_context>& context,
                  const std::shared_ptr<Waiting>& waiting) {
  return Answer(
      [weak_context = std::weak_ptr(context), weak = std::weak_ptr(waiting)](Response response) {
        const std::shared_ptr<asio::io_context> live = weak_context.lock();
        if (!live) {
          return;
        }
        asio::post(*live, [weak, answer = std::move(response)]() mutable {
          if (const std::shared_ptr<Waiting> target = weak.lock()) {
            target->response.emplace(std::move(answer));
            target->signal.cancel();
          }
        });
      });
}

// Somebody who speaks plain HTTP to a server of TLS.
bool is_plain_http(beast::error_code error) {
  return error.category() == asio::error::get_ssl_category() &&
         ERR_GET_REASON(static_cast<unsigned long>(error.value())) == SSL_R_HTTP_REQUEST;
}

}  // namespace

Handler answering(std::function<Response(const Request& request)> handler) {
  return
      [handler = std::move(handler)](Request request, Answer answer) { answer(handler(request)); };
}

struct HttpServer::State {
  struct Connection {
    explicit Connection(tcp::socket socket) : stream(std::move(socket)) {}
    Plain stream;  // under TLS: what carries it
    std::string peer;
    std::string network;                                // base::network_of(peer)
    std::chrono::steady_clock::time_point first_until;  // see Config::first_request_timeout
    bool first = true;                                  // no request's head has come yet
    std::shared_ptr<EventStream> events;
    bool busy = false;                                 // a request is being read or answered
    std::chrono::steady_clock::time_point idle_since;  // while it is not
  };
  using Place = std::list<Connection>::iterator;

  State(Config c, Handler h)
      : config(std::move(c)),
        handler(std::move(h)),
        tls(config.tls),
        context(std::make_shared<asio::io_context>(1)),
        acceptor(*context),
        grace_timer(*context) {}

  base::Result<void> listen();
  asio::awaitable<void> accept();
  asio::awaitable<void> serve(Place place);
  asio::awaitable<void> serve_secure(Place place);
  asio::awaitable<void> serve_on(Place place, Wire& wire);
  asio::awaitable<bool> read_head(Connection& connection, Wire& wire, beast::flat_buffer& buffer,
                                  Parser& parser, Request& request);
  asio::awaitable<bool> read_body(Connection& connection, Wire& wire, beast::flat_buffer& buffer,
                                  Parser& parser, Request& request, BodyBytes& bytes);
  // The head's target becomes the place that it asks for, when it is not refused.
  std::optional<Response> refusal_of(Request& head, unsigned version) const;
  asio::awaitable<void> reject(Connection& connection, Wire& wire, Response response, bool head);
  bool is_full_of(const std::string& network) const;
  bool make_room(const std::string& network);
  asio::awaitable<bool> respond(Connection& connection, Wire& wire, Response response,
                                unsigned version, bool keep_alive, bool head);
  asio::awaitable<bool> respond_stream(Connection& connection, Wire& wire, Response response,
                                       unsigned version, bool head);
  // Says that nothing follows, and lingers.
  asio::awaitable<void> part(Connection& connection, Wire& wire);
  asio::awaitable<void> turn_away(tcp::socket socket);
  asio::awaitable<void> linger(Connection& connection);
  Response refuse(int status, std::string_view text) const;
  Response refuse(int status) const { return refuse(status, text_of(status)); }
  void ended(Place place);
  void begin_stop(std::chrono::milliseconds grace);
  void cut_off();

  Config config;
  Handler handler;
  std::shared_ptr<const Tls> tls;  // of the next handshake; only the server's thread touches it
  std::shared_ptr<asio::io_context> context;
  tcp::acceptor acceptor;
  asio::steady_timer grace_timer;
  std::list<Connection> connections;  // only the server's thread touches it, and the next two
  std::map<std::string, std::size_t> of_network;
  std::size_t body_bytes = 0;
  std::size_t turned_away = 0;
  std::atomic<std::size_t> connection_count{0};
  bool stopping = false;
  std::uint16_t port = 0;
  std::thread thread;
};

base::Result<void> HttpServer::State::listen() {
  boost::system::error_code error;
  const asio::ip::address address = asio::ip::make_address(config.address, error);
  if (error) {
    return base::Error(base::ErrorCode::kInvalid, "the address to listen on is not an IP address",
                       config.address);
  }
  const tcp::endpoint endpoint(address, config.port);
  const std::string where = config.address + ":" + std::to_string(config.port);
  if (acceptor.open(endpoint.protocol(), error) ||
      acceptor.set_option(asio::socket_base::reuse_address(true), error) ||
      acceptor.bind(endpoint, error) ||
      acceptor.listen(asio::socket_base::max_listen_connections, error)) {
    return base::Error(base::ErrorCode::kIo, "cannot listen: " + error.message(), where);
  }
  port = acceptor.local_endpoint(error).port();
  return {};
}

Response HttpServer::State::refuse(int status, std::string_view text) const {
  Response response = config.refuse ? config.refuse(status, text)
                                    : Response(status, "text/plain", std::string(text) + "\n");
  response.status = status;
  const bool told = std::any_of(response.headers.begin(), response.headers.end(),
                                [](const Header& one) { return one.name == "Retry-After"; });
  if (status == 503 && !told) {
    response.set("Retry-After", "1");
  }
  return response;
}

asio::awaitable<void> HttpServer::State::accept() {
  while (!stopping) {
    auto [error, socket] = co_await acceptor.async_accept(kUseTuple);
    if (error == asio::error::operation_aborted) {
      co_return;
    }
    if (error) {
      // Out of file descriptors or the like: wait for others to be freed.
      asio::steady_timer pause(*context, base::limits::kAcceptPause);
      co_await pause.async_wait(kUseTuple);
      continue;
    }
    boost::system::error_code ignored;
    socket.set_option(tcp::no_delay(true), ignored);
    const auto remote = socket.remote_endpoint(ignored);
    const std::string peer = remote.address().to_string();
    const std::string network = base::network_of(peer);
    if (!make_room(network)) {
      // Under TLS a word would cost the server a handshake.
      if (!tls && turned_away < base::limits::kTurnedAwayMax) {
        ++turned_away;
        asio::co_spawn(*context, turn_away(std::move(socket)),
                       [this](std::exception_ptr) { --turned_away; });
      }
      continue;
    }
    connections.emplace_back(std::move(socket));
    connection_count = connections.size();
    ++of_network[network];
    const Place place = std::prev(connections.end());
    place->peer = peer;
    place->network = network;
    place->idle_since = std::chrono::steady_clock::now();
    place->first_until = place->idle_since + config.first_request_timeout;
    asio::co_spawn(*context, serve(place), [this, place](std::exception_ptr) { ended(place); });
  }
}

bool HttpServer::State::is_full_of(const std::string& network) const {
  const auto same = of_network.find(network);
  return same != of_network.end() && same->second >= config.connections_of_address_max;
}

// For one more connection. The one that has waited longest for a request gives way: so whoever
// opens many and asks nothing keeps nobody out.
bool HttpServer::State::make_room(const std::string& network) {
  const bool full_of_it = is_full_of(network);
  if (!full_of_it && connections.size() < config.connections_max) {
    return true;
  }
  Connection* oldest = nullptr;
  for (Connection& one : connections) {
    if (!one.busy && (!full_of_it || one.network == network) &&
        (oldest == nullptr || one.idle_since < oldest->idle_since)) {
      oldest = &one;
    }
  }
  if (oldest == nullptr) {
    return false;
  }
  oldest->busy = true;  // with its end
  oldest->stream.close();
  return true;
}

void HttpServer::State::ended(Place place) {
  if (place->events) {
    place->events->on_change({});
    place->events->close();
  }
  const auto same = of_network.find(place->network);
  if (--same->second == 0) {
    of_network.erase(same);
  }
  connections.erase(place);
  connection_count = connections.size();
  if (stopping && connections.empty()) {
    context->stop();
  }
}

asio::awaitable<void> HttpServer::State::turn_away(tcp::socket socket) {
  Connection connection(std::move(socket));
  PlainWire wire(connection.stream);
  co_await respond(connection, wire, refuse(503), 11, false, false);
  co_await linger(connection);
}

// Reads what the client still sends, so that closing does not reset the answer under way (RFC
// 9112, 9.6).
asio::awaitable<void> HttpServer::State::linger(Connection& connection) {
  boost::system::error_code ignored;
  connection.stream.socket().shutdown(tcp::socket::shutdown_send, ignored);
  std::string waste(16 * 1024, '\0');
  const auto until = std::chrono::steady_clock::now() + base::limits::kLingerTime;
  while (!stopping && std::chrono::steady_clock::now() < until) {
    connection.stream.expires_at(until);
    const auto [error, n] =
        co_await connection.stream.async_read_some(asio::buffer(waste), kUseTuple);
    if (error || n == 0) {
      break;
    }
  }
}

asio::awaitable<void> HttpServer::State::part(Connection& connection, Wire& wire) {
  connection.stream.expires_after(config.write_timeout);
  co_await wire.farewell();
  co_await linger(connection);
}

asio::awaitable<void> HttpServer::State::reject(Connection& connection, Wire& wire,
                                                Response response, bool head) {
  co_await respond(connection, wire, std::move(response), 11, false, head);
  co_await part(connection, wire);
}

// False when there is nothing more to serve on this connection.
asio::awaitable<bool> HttpServer::State::read_head(Connection& connection, Wire& wire,
                                                   beast::flat_buffer& buffer, Parser& parser,
                                                   Request& request) {
  const auto bound = [&connection](std::chrono::milliseconds time) {
    const auto until = std::chrono::steady_clock::now() + time;
    connection.stream.expires_at(connection.first ? std::min(until, connection.first_until)
                                                  : until);
  };
  parser.body_limit(config.body_bytes_max);
  parser.header_limit(base::limits::kHttpHeaderBytesMax);
  connection.busy = buffer.size() > 0;
  if (!connection.busy) {
    connection.idle_since = std::chrono::steady_clock::now();
    bound(config.idle_timeout);
    const auto [error, n] = co_await wire.read_some(buffer.prepare(kIdleReadBytes));
    if (error) {
      co_return false;
    }
    buffer.commit(n);
    connection.busy = true;
  }
  bound(config.request_timeout);
  const beast::error_code error =
      co_await read_until(wire, buffer, parser, [](Parser& one) { return one.is_header_done(); });
  if (error) {
    if (const int status = status_of(error); status != 0) {
      co_await reject(connection, wire, refuse(status), false);
    }
    co_return false;
  }
  if (std::exchange(connection.first, false)) {
    connection.stream.expires_after(config.request_timeout);
  }
  request = head_of(parser, connection.peer);
  std::optional<Response> refusal = refusal_of(request, parser.get().version());
  const std::size_t most = config.body_max ? config.body_max(request) : config.body_bytes_max;
  parser.body_limit(std::min(most, config.body_bytes_max));  // looked at with each chunk
  if (!refusal && parser.content_length().value_or(0) > most) {
    refusal = refuse(413);
  }
  if (refusal) {
    Response response = std::move(*refusal);
    co_await reject(connection, wire, std::move(response), request.method == "HEAD");
  }
  co_return !refusal;
}

std::optional<Response> HttpServer::State::refusal_of(Request& head, unsigned version) const {
  auto place = place_of(head, version);
  if (!place) {
    return refuse(400);
  }
  head.target = std::move(*place);
  // Who names no host (HTTP/1.0) is no browser.
  const std::string_view host = head.header("host");
  if (config.is_host && !host.empty() && !config.is_host(host)) {
    return refuse(421);
  }
  return config.screen ? config.screen(head) : std::nullopt;
}

asio::awaitable<bool> HttpServer::State::read_body(Connection& connection, Wire& wire,
                                                   beast::flat_buffer& buffer, Parser& parser,
                                                   Request& request, BodyBytes& bytes) {
  beast::error_code error;
  if (beast::iequals(request.header("expect"), "100-continue")) {
    http::response<http::empty_body> go_on{http::status::continue_, 11};
    http::response_serializer<http::empty_body> serializer{go_on};
    error = co_await write_all(wire, serializer, false);
  }
  if (!error) {
    parser.eager(true);
    const auto enough = [&](Parser& one) {
      bytes.count(one.get().body().size());
      return one.is_done() || body_bytes > config.bodies_bytes_max;
    };
    error = co_await read_until(wire, buffer, parser, enough);
  }
  if (!error && body_bytes <= config.bodies_bytes_max) {
    request.body = std::move(parser.get().body());
    co_return true;
  }
  const int status = error ? status_of(error) : 503;
  if (status != 0) {
    parser.get().body() = std::string();
    bytes.count(0);
    co_await reject(connection, wire, refuse(status), request.method == "HEAD");
  }
  co_return false;
}

asio::awaitable<void> HttpServer::State::serve(Place place) {
  boost::system::error_code ignored;
  if (tls) {
    co_await serve_secure(place);
  } else {
    PlainWire wire(place->stream);
    co_await serve_on(place, wire);
  }
  place->stream.socket().shutdown(tcp::socket::shutdown_both, ignored);
  place->stream.close();
}

asio::awaitable<void> HttpServer::State::serve_secure(Place place) {
  asio::ssl::context ready(tls->share());
  Secure stream(place->stream, ready);
  // One bound for the whole handshake, however slowly its bytes come.
  place->stream.expires_after(config.handshake_timeout);
  const auto [error] = co_await stream.async_handshake(asio::ssl::stream_base::server, kUseTuple);
  if (!error) {
    SecureWire wire(stream);
    co_await serve_on(place, wire);
  } else if (is_plain_http(error)) {
    Response hint = refuse(400, "this port speaks TLS only; use https");
    PlainWire wire(place->stream);
    co_await respond(*place, wire, std::move(hint), 11, false, false);
    co_await linger(*place);
  }
}

asio::awaitable<void> HttpServer::State::serve_on(Place place, Wire& wire) {
  Connection& connection = *place;
  beast::flat_buffer buffer;
  while (!stopping) {
    Parser parser;
    Request request;
    BodyBytes bytes(body_bytes);
    if (!co_await read_head(connection, wire, buffer, parser, request) ||
        !co_await read_body(connection, wire, buffer, parser, request, bytes)) {
      break;
    }
    const unsigned version = parser.get().version();
    const bool keep_alive = parser.get().keep_alive();
    const bool head = parser.get().method() == http::verb::head;
    const auto waiting = std::make_shared<Waiting>(*context);
    connection.stream.expires_never();
    handler(std::move(request), answer_for(context, waiting));
    while (!waiting->response.has_value()) {
      co_await waiting->signal.async_wait(kUseTuple);
    }
    Response response = std::move(*waiting->response);
    if (response.delay.count() > 0 && !stopping) {
      asio::steady_timer pause(*context, response.delay);
      co_await pause.async_wait(kUseTuple);
    }
    if (response.close_without_answer) {
      break;
    }
    const bool go_on = keep_alive && !response.close && !stopping && !response.stream;
    if (response.stream) {
      co_await respond_stream(connection, wire, std::move(response), version, head);
      break;
    }
    if (!co_await respond(connection, wire, std::move(response), version, go_on, head)) {
      break;
    }
    if (!go_on) {
      co_await part(connection, wire);
      break;
    }
  }
}

asio::awaitable<bool> HttpServer::State::respond(Connection& connection, Wire& wire,
                                                 Response response, unsigned version,
                                                 bool keep_alive, bool head) {
  const bool secret = dynamic_cast<const SecureWire*>(&wire) != nullptr;
  Message message = to_message(response, version, keep_alive, secret);
  connection.stream.expires_after(config.write_timeout);
  http::response_serializer<http::string_body> serializer{message};
  serializer.split(head);
  co_return !co_await write_all(wire, serializer, head);
}

asio::awaitable<bool> HttpServer::State::respond_stream(Connection& connection, Wire& wire,
                                                        Response response, unsigned version,
                                                        bool head) {
  connection.events = response.stream;
  http::response<http::empty_body> header{static_cast<http::status>(response.status), version};
  for (const Header& field : response.headers) {
    header.insert(field.name, field.value);
  }
  header.keep_alive(false);
  header.chunked(true);
  connection.stream.expires_after(config.write_timeout);
  http::response_serializer<http::empty_body> serializer{header};
  serializer.split(true);
  beast::error_code error = co_await write_all(wire, serializer, true);
  if (head) {
    co_return !error;
  }
  auto signal = std::make_shared<asio::steady_timer>(*context);
  response.stream->on_change([weak_context = std::weak_ptr(context), weak = std::weak_ptr(signal)] {
    if (const auto live = weak_context.lock()) {
      asio::post(*live, [weak] {
        if (const auto timer = weak.lock()) {
          timer->cancel();
        }
      });
    }
  });
  while (!error) {
    EventStream::Taken taken = response.stream->take();
    if (taken.bytes.empty() && !taken.closed) {
      signal->expires_after(base::limits::kHeartbeat);
      const auto [woken] = co_await signal->async_wait(kUseTuple);
      if (woken) {
        continue;
      }
      // A comment line: tells a reader that left from one that has nothing to read.
      taken.bytes = ":\n\n";
    }
    if (!taken.closed && !response.stream->may_go_on()) {
      response.stream->close();
      taken = {{}, true};
    }
    connection.stream.expires_after(config.write_timeout);
    std::string bytes;
    if (!taken.bytes.empty()) {
      bytes += beast::buffers_to_string(
          http::make_chunk(asio::const_buffer(taken.bytes.data(), taken.bytes.size())));
    }
    if (taken.closed) {
      bytes += beast::buffers_to_string(http::make_chunk_last());
    }
    const std::vector<asio::const_buffer> buffers = {asio::buffer(bytes)};
    std::tie(error, std::ignore) = co_await wire.write(buffers);
    if (taken.closed) {
      break;
    }
  }
  co_return !error;
}

void HttpServer::State::begin_stop(std::chrono::milliseconds grace) {
  stopping = true;
  boost::system::error_code ignored;
  acceptor.close(ignored);
  for (Connection& connection : connections) {
    if (connection.events) {
      connection.events->close();
    }
    if (!connection.busy) {
      connection.stream.close();
    }
  }
  if (connections.empty()) {
    context->stop();
    return;
  }
  grace_timer.expires_after(grace);
  grace_timer.async_wait([this](boost::system::error_code error) {
    if (!error) {
      cut_off();
    }
  });
}

void HttpServer::State::cut_off() {
  for (Connection& connection : connections) {
    connection.stream.close();
  }
  // Requests whose handler has not answered are abandoned with their coroutine.
  context->stop();
}

HttpServer::HttpServer(std::unique_ptr<State> state) : state_(std::move(state)) {}

base::Result<std::unique_ptr<HttpServer>> HttpServer::start(Config config, Handler handler) {
  auto state = std::make_unique<State>(std::move(config), std::move(handler));
  if (auto listening = state->listen(); !listening) {
    return std::move(listening).error();
  }
  State* const raw = state.get();
  asio::co_spawn(*raw->context, raw->accept(), [](std::exception_ptr) {});
  raw->thread = std::thread([raw] { raw->context->run(); });
  return std::unique_ptr<HttpServer>(new HttpServer(std::move(state)));
}

HttpServer::~HttpServer() {
  stop(std::chrono::milliseconds(0));
}

std::uint16_t HttpServer::port() const {
  return state_->port;
}

void HttpServer::renew(std::shared_ptr<const Tls> tls) {
  asio::post(*state_->context, [raw = state_.get(), next = std::move(tls)]() mutable {
    if (raw->tls && next) {
      raw->tls = std::move(next);
    }
  });
}

std::size_t HttpServer::connections() const {
  return state_->connection_count;
}

void HttpServer::stop(std::chrono::milliseconds grace) {
  if (!state_->thread.joinable()) {
    return;
  }
  State* const raw = state_.get();
  asio::post(*raw->context, [raw, grace] { raw->begin_stop(grace); });
  raw->thread.join();
}

}  // namespace engine::web

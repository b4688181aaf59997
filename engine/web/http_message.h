#pragma once
// Plain HTTP messages (RFC 9110), independent of the library that moves them. Values; not thread
// safe.

#include <chrono>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

namespace engine::web {

class EventStream;

struct Header {
  std::string name;
  std::string value;
};

struct Request {
  std::string method;
  std::string target;  // as sent: path and query, not decoded
  std::vector<Header> headers;
  std::string body;
  std::string peer;  // numeric address of the other side, without its port
  // Of a request that has passed the gate (who_may.h): who calls, and why they read. May be empty.
  std::string caller;
  std::string why;

  // The first value of a header, its name in any case; empty when absent.
  std::string_view header(std::string_view name) const;
  // The target up to '?', and what follows it.
  std::string_view path() const;
  std::string_view query() const;
  // The decoded value of a query parameter; `present` tells "?a" and "?a=" from its absence.
  struct Parameter {
    bool present = false;
    std::string value;
  };
  Parameter parameter(std::string_view name) const;
};

struct Response {
  int status = 200;
  std::vector<Header> headers;
  std::string body;
  // Closes the connection without sending anything: what a client sees of a server that died.
  bool close_without_answer = false;
  // Sends the answer, then closes.
  bool close = false;
  // Waits before answering; for servers that play a slow one.
  std::chrono::milliseconds delay{0};
  // When set, the body is this stream's chunks until it is closed (chunked transfer coding).
  std::shared_ptr<EventStream> stream;

  Response() = default;
  Response(int code, std::string content_type, std::string text);
  void set(std::string name, std::string value);
};

// Undoes %XX and '+' of a query (WHATWG form decoding); a broken escape stays as it is.
std::string decode_query(std::string_view text);
// Undoes %XX only, for path segments.
std::string decode_path(std::string_view text);

}  // namespace engine::web

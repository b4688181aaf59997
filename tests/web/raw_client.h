#pragma once
// A client for tests that sends exactly the bytes it is told and reads answers as they come.

#include <array>
#include <cstdint>
#include <string>

#include <boost/asio/buffer.hpp>
#include <boost/asio/connect.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/write.hpp>

namespace engine::web {

class RawClient {
 public:
  struct Answer {
    int status = 0;  // 0: the connection ended before an answer
    std::string head;
    std::string body;
  };

  explicit RawClient(std::uint16_t port) : socket_(context_) {
    boost::system::error_code error;
    socket_.connect({boost::asio::ip::address_v4::loopback(), port}, error);
  }

  void send(const std::string& bytes) {
    boost::system::error_code error;
    boost::asio::write(socket_, boost::asio::buffer(bytes), error);
  }

  // Up to and with the empty line.
  std::string read_head() {
    while (buffer_.find("\r\n\r\n") == std::string::npos && fill()) {
    }
    const std::size_t end = buffer_.find("\r\n\r\n");
    return take(end == std::string::npos ? buffer_.size() : end + 4);
  }

  Answer read_answer() {
    Answer answer;
    answer.head = read_head();
    if (answer.head.size() < 12) {
      return answer;
    }
    answer.status = std::stoi(answer.head.substr(9, 3));
    const std::size_t at = answer.head.find("Content-Length: ");
    if (at != std::string::npos) {
      answer.body = read_exactly(std::stoul(answer.head.substr(at + 16)));
    }
    return answer;
  }

  std::string read_exactly(std::size_t n) {
    while (buffer_.size() < n && fill()) {
    }
    return take(n);
  }

  std::string read_all() {
    while (fill()) {
    }
    return take(buffer_.size());
  }

  // Waits until the other side closes; false when it sends something instead.
  bool at_end() { return buffer_.empty() && !fill(); }

 private:
  bool fill() {
    std::array<char, 4096> chunk;
    boost::system::error_code error;
    const std::size_t n = socket_.read_some(boost::asio::buffer(chunk), error);
    buffer_.append(chunk.data(), n);
    return !error && n > 0;
  }
  std::string take(std::size_t n) {
    std::string out = buffer_.substr(0, n);
    buffer_.erase(0, n);
    return out;
  }

  boost::asio::io_context context_;
  boost::asio::ip::tcp::socket socket_;
  std::string buffer_;
};

}  // namespace engine::web

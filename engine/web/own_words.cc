#include "engine/web/own_words.h"

#include <chrono>
#include <ctime>

namespace engine::web {

std::string http_date() {
  const std::time_t now = std::chrono::system_clock::to_time_t(std::chrono::system_clock::now());
  std::tm parts{};
  gmtime_r(&now, &parts);
  char text[40];
  const std::size_t n = std::strftime(text, sizeof text, "%a, %d %b %Y %H:%M:%S GMT", &parts);
  return {text, n};
}

std::string_view text_of(int status) {
  switch (status) {
    case 413:
      return "the body is larger than what is taken here";
    case 421:
      return "this server does not go by the name in the Host header; the setting 'hosts' has the "
             "names that it goes by";
    case 431:
      return "the header is larger than this server takes";
    case 503:
      return "too many connections or bytes under way; try again later";
    default:
      return "these bytes are no HTTP/1.1 request";
  }
}

}  // namespace engine::web

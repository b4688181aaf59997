#include "engine/base/network.h"

#include <algorithm>
#include <array>

#include <arpa/inet.h>

namespace engine::base {

std::string network_of(std::string_view address) {
  static constexpr std::array<unsigned char, 12> kMapped = {0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 255, 255};
  // "%eth0" names a link of this machine.
  const std::string text(address.substr(0, address.find('%')));
  std::array<unsigned char, 16> bytes{};
  if (text.find(':') == std::string::npos || inet_pton(AF_INET6, text.c_str(), bytes.data()) != 1) {
    return std::string(address);
  }
  const bool mapped = std::equal(kMapped.begin(), kMapped.end(), bytes.begin());
  std::array<char, INET6_ADDRSTRLEN> out{};
  if (mapped) {
    inet_ntop(AF_INET, bytes.data() + kMapped.size(), out.data(), out.size());
    return out.data();
  }
  std::fill(bytes.begin() + 8, bytes.end(), static_cast<unsigned char>(0));
  inet_ntop(AF_INET6, bytes.data(), out.data(), out.size());
  return std::string(out.data()) + "/64";
}

}  // namespace engine::base

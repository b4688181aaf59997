#pragma once
// Whose an address is, for bounds that hold for one client. Pure.

#include <string>
#include <string_view>

namespace engine::base {

// What stands for everybody behind a numeric address: an IPv4 address itself (also in the form
// "::ffff:192.0.2.1"); of IPv6 the first 64 bits, all of which one subscriber has (RFC 6177). A
// text that is no address stands for itself.
std::string network_of(std::string_view address);

}  // namespace engine::base

#pragma once
// SHA-256 (FIPS 180-4) over bytes, and name-based ids (RFC 9562 UUID version 5, which prescribes
// SHA-1).

#include <array>
#include <cstdint>
#include <string>
#include <string_view>

namespace engine::base {

using Digest = std::array<std::uint8_t, 32>;

Digest sha256(std::string_view bytes);
// Lower-case hexadecimal of any bytes.
std::string to_hex(std::string_view bytes);
std::string to_hex(const Digest& digest);
std::string sha256_hex(std::string_view bytes);

// The 16 bytes of a UUID.
using Uuid = std::array<std::uint8_t, 16>;

// RFC 9562 section 6.6: the namespaces for URLs, for a fully-qualified domain name, and for ISO
// OIDs.
inline constexpr Uuid kNamespaceUrl = {0x6b, 0xa7, 0xb8, 0x11, 0x9d, 0xad, 0x11, 0xd1,
                                       0x80, 0xb4, 0x00, 0xc0, 0x4f, 0xd4, 0x30, 0xc8};
inline constexpr Uuid kNamespaceDns = {0x6b, 0xa7, 0xb8, 0x10, 0x9d, 0xad, 0x11, 0xd1,
                                       0x80, 0xb4, 0x00, 0xc0, 0x4f, 0xd4, 0x30, 0xc8};

// The UUID version 5 of `name` in `space`. The same name always gives the same id.
Uuid name_based_uuid(const Uuid& space, std::string_view name);
// "6ba7b811-9dad-11d1-80b4-00c04fd430c8", lower case.
std::string to_string(const Uuid& uuid);

}  // namespace engine::base

#pragma once
// AES-256 in Galois/Counter Mode (NIST SP 800-38D) by OpenSSL: what is sealed can neither be read
// nor altered without the key.

#include <cstddef>
#include <string>
#include <string_view>

#include "engine/base/result.h"

namespace engine::base {

inline constexpr std::size_t kAesKeyBytes = 32;
inline constexpr std::size_t kGcmNonceBytes = 12;  // SP 800-38D section 5.2.1.1 recommends 96 bits
inline constexpr std::size_t kGcmTagBytes = 16;

// Ciphertext of the text's length, then the tag. Key and nonce must have their lengths, and no
// nonce may serve a key twice. `bound` is not kept, but must be the same to open.
std::string aes_gcm_seal(std::string_view key, std::string_view nonce, std::string_view text,
                         std::string_view bound);
// Errors: kCorrupt when it was not sealed so with this key, nonce and `bound`.
Result<std::string> aes_gcm_open(std::string_view key, std::string_view nonce,
                                 std::string_view sealed, std::string_view bound);

// Overwrites secret bytes that are done with.
void wipe(std::string& secret);

}  // namespace engine::base

#pragma once
// Ed25519 signatures (RFC 8032) by OpenSSL. Secrets and public keys are 32 bytes, signatures 64.

#include <string>
#include <string_view>

#include "engine/base/result.h"

namespace engine::base {

inline constexpr std::size_t kEd25519KeyBytes = 32;        // RFC 8032 section 5.1.5
inline constexpr std::size_t kEd25519SignatureBytes = 64;  // section 5.1.6

// `secret` must have its length; the caller reads it from a place that says so.
std::string ed25519_public(std::string_view secret);
std::string ed25519_sign(std::string_view secret, std::string_view text);
// False for anything but a signature of this text by this key, also for wrong lengths.
bool ed25519_verify(std::string_view public_key, std::string_view text, std::string_view signature);

// "-----BEGIN PUBLIC KEY-----" (RFC 8410).
std::string ed25519_to_pem(std::string_view public_key);
// The 32 bytes. Errors: kInvalid for anything but an Ed25519 public key in PEM.
Result<std::string> ed25519_from_pem(std::string_view pem);

}  // namespace engine::base

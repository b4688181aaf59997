#pragma once
// Passwords as Argon2id keeps them (RFC 9106), and secrets that are long and random enough to need
// only a hash. Thread safe.

#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/base/seams.h"

namespace engine::people {

// The text form that other programs know too: $argon2id$v=19$m=65536,t=3,p=1$SALT$HASH. Takes 64
// MiB and about a tenth of a second. Errors: kInvalid for a password that is too short or too long;
// kLimit when the memory is not there.
base::Result<std::string> keep_password(std::string_view password);
// Takes as long as keeping one, whatever the answer. False also when the memory is not there.
bool is_password(const std::string& kept, std::string_view password);
// Whether is_password() can do with it: Argon2id 1.3 at a cost that does not stop an engine.
bool is_kept_password(const std::string& text);
// A kept password that nobody knows: comparing with it takes as long as with another.
const std::string& nobodys_password();

// 32 random bytes in hexadecimal.
std::string make_secret(base::Random& random);
// What is kept of a secret: "sha256:" and the hash in hexadecimal. Not for passwords.
std::string keep_secret(std::string_view secret);
bool is_kept_secret(std::string_view text);

// Overwrites a text that nobody needs any more.
void wipe(std::string& text);

}  // namespace engine::people

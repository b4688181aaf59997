#pragma once
// What patients and therapists are found by in the journal: HMAC-SHA-256 (RFC 2104) of their
// identifier under a secret key, so that the file alone does not tell who was treated.

#include <string>
#include <string_view>

#include "engine/base/hash.h"
#include "engine/base/result.h"

namespace engine::journal {

base::Digest hmac_sha256(std::string_view key, std::string_view message);
// The first 32 bytes of HKDF with SHA-256 (RFC 5869).
base::Digest hkdf_sha256(std::string_view key, std::string_view salt, std::string_view info);

class SearchKey {
 public:
  explicit SearchKey(std::string secret) : secret_(std::move(secret)) {}
  // The key of a file of 64 hexadecimal digits. When there is none and `random` is given (32
  // bytes), it is written there, readable by its owner only. Errors: kIo, kInvalid, kNotFound.
  static base::Result<SearchKey> load(const std::string& path, std::string_view random);

  // "" for "" (an unknown patient is not one patient); otherwise 32 hexadecimal digits.
  std::string hide(std::string_view identifier) const;
  // A secret of its own for another purpose, and for one of those that it serves: 64 hexadecimal
  // digits. Neither it nor hide() tells anything of the other. `purpose` holds no NUL.
  std::string derive(std::string_view purpose, std::string_view whose) const;

 private:
  std::string secret_;
};

}  // namespace engine::journal

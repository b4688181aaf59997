#pragma once
// What patients and therapists are found by in the journal: HMAC-SHA-256 (RFC 2104) of their
// identifier under a secret key, so that the file alone does not tell who was treated.

#include <string>
#include <string_view>

#include "engine/base/hash.h"
#include "engine/base/result.h"

namespace engine::journal {

class Store;

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

// What an accepted record says of its document, by the hash of the canonical form: a hash alone
// would give away, also when the document was destroyed, which of some values it held.
std::string document_mark(const SearchKey& key, std::string_view canonical_hash);

// By which programs know the key without knowing it: the name under which they agree on it.
inline constexpr std::string_view kSearchKeyMark = "search key";

// The key of a journal that is open for writing, as an engine needs it. It is made, of `random`,
// only for a journal without records: under another key the same patient is another one, so that a
// legal hold of before protects nobody. A journal from when no mark was kept takes it here.
// Errors: kNotFound when the file is missing and was in use; kConflict when it is another key;
// those of load().
base::Result<SearchKey> open_search_key(Store& store, const std::string& path,
                                        std::string_view random);
// The key for a search or a change by a patient's name. Errors: kNotFound, kInvalid, kIo; kConflict
// when the journal's patients are hidden with another one.
base::Result<SearchKey> load_search_key(const Store& store, const std::string& path);

}  // namespace engine::journal

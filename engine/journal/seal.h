#pragma once
// Parts sealed at rest. Each patient's bodies have a data key of their own (those of nobody known:
// one for each month), kept wrapped under a master key that is not in the journal. What a part is
// sealed with is made from the data key and the part's place, so that a part that was moved does
// not open, and one part can be shown to others without the key of the rest. A data key that is
// gone takes its bodies with it, in every copy of them. docs/decisions/0017-sealed-bodies.md

#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/journal/record.h"

namespace engine::journal {

inline constexpr std::size_t kKeyIdBytes = 16;

// The master keys that a program was given; several while one is exchanged for another.
class MasterKeys {
 public:
  // Files of 64 hexadecimal digits that nobody but their owner can read, or `credential:NAME` for
  // one that systemd hands to the service (its folder is $CREDENTIALS_DIRECTORY). Errors: kInvalid,
  // kIo, kNotFound, naming the file.
  static base::Result<MasterKeys> load(const std::vector<std::string>& files);

  MasterKeys() = default;
  // 32 bytes each.
  explicit MasterKeys(std::vector<std::string> secrets);
  bool empty() const { return keys_.empty(); }
  // Names of the keys, which tell nothing of them; in the order of the files.
  std::vector<std::string> ids() const;
  // nullptr when it was not given.
  const std::string* find(std::string_view id) const;

 private:
  struct Key {
    std::string id;
    std::string secret;
  };
  std::vector<Key> keys_;
};
// 16 hexadecimal digits.
std::string master_id(std::string_view secret);

// What a store seals and opens with; `random` makes keys and nonces and must outlive it.
struct Sealing {
  MasterKeys masters;
  base::Random* random = nullptr;
};
std::string random_bytes(base::Random& random, std::size_t count);

struct DataKey {
  std::string id;  // kKeyIdBytes
  std::string secret;
  DataKey() = default;
  DataKey(std::string i, std::string s) : id(std::move(i)), secret(std::move(s)) {}
  ~DataKey();
  DataKey(DataKey&&) = default;
  DataKey& operator=(DataKey&&) = default;
  DataKey(const DataKey&) = delete;
  DataKey& operator=(const DataKey&) = delete;
};

// A data key as it lies in the journal.
struct WrappedKey {
  std::string id;
  std::string subject;  // the patient as the journal hides the name, or "month 2026-03"
  std::string master;
  std::string wrapped;  // nonce, sealed key
};
WrappedKey wrap(const DataKey& key, std::string_view subject, std::string_view master_secret,
                base::Random& random);
// Errors: kUnsupported when its master key is not among `masters`, kCorrupt.
base::Result<DataKey> unwrap(const WrappedKey& key, const MasterKeys& masters);
// What can be told without one. Errors: kCorrupt.
base::Result<void> check_form(const WrappedKey& key);
// Whether it is the latter: what is sealed with other data keys is none the worse.
bool is_damaged_key(const base::Error& error);

// The key of one part. `codec` is the sealed one. The first block of HKDF-Expand (RFC 5869 section
// 2.3) of the data key, over the part's place.
std::string part_key(std::string_view data_secret, Position position, std::string_view name,
                     int codec);
// Key id, nonce, ciphertext and tag in place of a part that is not sealed; hashed anew.
StoredPart seal(const StoredPart& part, Position position, const DataKey& key,
                base::Random& random);
// The part as it was before: packed still. Errors: kCorrupt.
base::Result<StoredPart> open(const StoredPart& part, Position position, const DataKey& key);
// Of a sealed part's bytes. Errors: kCorrupt when they are too short to be sealed.
base::Result<std::string> key_id_of(std::string_view stored);

}  // namespace engine::journal

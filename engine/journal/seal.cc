#include "engine/journal/seal.h"

#include <algorithm>
#include <cstdlib>
#include <span>
#include <utility>

#include <sys/stat.h>

#include "engine/base/aes_gcm.h"
#include "engine/base/check.h"
#include "engine/journal/search_key.h"
#include "engine/journal/secret_file.h"
#include "engine/journal/stored.h"

namespace engine::journal {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

constexpr std::string_view kCredential = "credential:";
constexpr std::size_t kMasterIdDigits = 16;
constexpr const char* kDamagedKey = "a key of the journal is not what was kept";

Result<std::string> path_of(const std::string& file) {
  if (file.substr(0, kCredential.size()) != kCredential) {
    return file;
  }
  const std::string name = file.substr(kCredential.size());
  const char* const folder = std::getenv("CREDENTIALS_DIRECTORY");
  if (folder == nullptr || name.empty() || name.find('/') != std::string::npos) {
    return Error(ErrorCode::kInvalid,
                 folder == nullptr ? "there are no credentials of systemd ($CREDENTIALS_DIRECTORY)"
                                   : "a credential is named without a folder",
                 file);
  }
  return std::string(folder) + "/" + name;
}

// The folder of systemd's credentials is nobody else's already.
Result<void> check_private(const std::string& file, const std::string& path) {
  struct stat found {};
  if (::stat(path.c_str(), &found) != 0) {
    return Error(ErrorCode::kNotFound, "the master key of the journal is not there", path);
  }
  if (file == path && (found.st_mode & (S_IRWXG | S_IRWXO)) != 0) {
    return Error(ErrorCode::kInvalid,
                 "others than its owner can get at the master key of the journal; chmod 600", path);
  }
  return {};
}

std::string bound_to(const WrappedKey& key) {
  return "chartferry data key\n" + base::to_hex(key.id) + "\n" + key.subject + "\n" + key.master;
}

}  // namespace

MasterKeys::MasterKeys(std::vector<std::string> secrets) {
  for (std::string& secret : secrets) {
    ENGINE_CHECK(secret.size() == base::kAesKeyBytes);
    std::string id = master_id(secret);
    keys_.push_back({std::move(id), std::move(secret)});
  }
}

Result<MasterKeys> MasterKeys::load(const std::vector<std::string>& files) {
  std::vector<std::string> secrets;
  for (const std::string& file : files) {
    const auto path = path_of(file);
    if (!path) {
      return path.error();
    }
    if (auto good = check_private(file, *path); !good) {
      return good.error();
    }
    auto secret = load_secret(*path, "", Guard::kFolder);
    if (!secret) {
      return std::move(secret).error();
    }
    secrets.push_back(std::move(*secret));
  }
  return MasterKeys(std::move(secrets));
}

std::vector<std::string> MasterKeys::ids() const {
  std::vector<std::string> out;
  for (const Key& key : keys_) {
    out.push_back(key.id);
  }
  return out;
}

const std::string* MasterKeys::find(std::string_view id) const {
  const auto found =
      std::find_if(keys_.begin(), keys_.end(), [&](const Key& key) { return key.id == id; });
  return found == keys_.end() ? nullptr : &found->secret;
}

std::string master_id(std::string_view secret) {
  return base::to_hex(hmac_sha256(secret, "chartferry master key")).substr(0, kMasterIdDigits);
}

std::string random_bytes(base::Random& random, std::size_t count) {
  std::string out(count, '\0');
  random.fill(std::span(reinterpret_cast<std::uint8_t*>(out.data()), out.size()));
  return out;
}

DataKey::~DataKey() {
  base::wipe(secret);
}

WrappedKey wrap(const DataKey& key, std::string_view subject, std::string_view master_secret,
                base::Random& random) {
  WrappedKey out;
  out.id = key.id;
  out.subject = std::string(subject);
  out.master = master_id(master_secret);
  const std::string nonce = random_bytes(random, base::kGcmNonceBytes);
  out.wrapped = nonce + base::aes_gcm_seal(master_secret, nonce, key.secret, bound_to(out));
  return out;
}

Result<DataKey> unwrap(const WrappedKey& key, const MasterKeys& masters) {
  const std::string* const master = masters.find(key.master);
  if (master == nullptr) {
    return Error(ErrorCode::kUnsupported,
                 "it is sealed, and the master key " + key.master + " was not given");
  }
  if (check_form(key)) {
    const std::string_view wrapped = key.wrapped;
    auto secret = base::aes_gcm_open(*master, wrapped.substr(0, base::kGcmNonceBytes),
                                     wrapped.substr(base::kGcmNonceBytes), bound_to(key));
    if (secret) {
      return DataKey(key.id, std::move(*secret));
    }
  }
  return Error(ErrorCode::kCorrupt, kDamagedKey, "key " + base::to_hex(key.id));
}

Result<void> check_form(const WrappedKey& key) {
  constexpr std::size_t kWhole = base::kGcmNonceBytes + base::kAesKeyBytes + base::kGcmTagBytes;
  return key.id.size() == kKeyIdBytes && key.wrapped.size() == kWhole
             ? Result<void>()
             : Error(ErrorCode::kCorrupt, kDamagedKey, "key " + base::to_hex(key.id));
}

bool is_damaged_key(const Error& error) {
  return error.code == ErrorCode::kCorrupt && error.detail == kDamagedKey;
}

std::string part_key(std::string_view data_secret, Position position, std::string_view name,
                     int codec) {
  const std::string place = "chartferry part\n" + std::to_string(position) + "\n" +
                            std::string(name) + "\n" + std::to_string(codec);
  const base::Digest key = hmac_sha256(data_secret, place + '\x01');
  return {key.begin(), key.end()};
}

StoredPart seal(const StoredPart& part, Position position, const DataKey& key,
                base::Random& random) {
  ENGINE_CHECK(!is_sealed(part.codec) && key.id.size() == kKeyIdBytes);
  StoredPart out;
  out.name = part.name;
  out.codec = part.codec == kCodecZstd ? kCodecSealedZstd : kCodecSealedPlain;
  std::string secret = part_key(key.secret, position, part.name, out.codec);
  const std::string nonce = random_bytes(random, base::kGcmNonceBytes);
  out.bytes = key.id + nonce + base::aes_gcm_seal(secret, nonce, part.bytes, key.id);
  out.hash = base::sha256(out.bytes);
  base::wipe(secret);
  return out;
}

Result<StoredPart> open(const StoredPart& part, Position position, const DataKey& key) {
  const auto id = key_id_of(part.bytes);
  if (!id || *id != key.id) {
    return Error(ErrorCode::kCorrupt, "a part is not sealed as it should be");
  }
  const std::string_view rest = std::string_view(part.bytes).substr(kKeyIdBytes);
  std::string secret = part_key(key.secret, position, part.name, part.codec);
  auto bytes = base::aes_gcm_open(secret, rest.substr(0, base::kGcmNonceBytes),
                                  rest.substr(base::kGcmNonceBytes), key.id);
  base::wipe(secret);
  if (!bytes) {
    return Error(bytes.error().code, bytes.error().detail);
  }
  StoredPart out;
  out.name = part.name;
  out.codec = part.codec == kCodecSealedZstd ? kCodecZstd : kCodecPlain;
  out.bytes = std::move(*bytes);
  out.hash = base::sha256(out.bytes);
  return out;
}

Result<std::string> key_id_of(std::string_view stored) {
  if (stored.size() < kKeyIdBytes + base::kGcmNonceBytes + base::kGcmTagBytes) {
    return Error(ErrorCode::kCorrupt, "a sealed part is too short to be one");
  }
  return std::string(stored.substr(0, kKeyIdBytes));
}

}  // namespace engine::journal

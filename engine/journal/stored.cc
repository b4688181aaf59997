#include "engine/journal/stored.h"

#include <zstd.h>

#include "engine/base/limits.h"

namespace engine::journal {
namespace {

// Level 1: bodies are kilobytes, and a session passes the journal several times.
constexpr int kLevel = 1;

// A thread's own: to make them costs as much as what is done with them.
struct Contexts {
  ZSTD_CCtx* pack = ZSTD_createCCtx();
  ZSTD_DCtx* unpack = ZSTD_createDCtx();
  ~Contexts() {
    ZSTD_freeCCtx(pack);
    ZSTD_freeDCtx(unpack);
  }
  Contexts() = default;
  Contexts(const Contexts&) = delete;
  Contexts& operator=(const Contexts&) = delete;
};

Contexts& contexts() {
  thread_local Contexts own;
  return own;
}

}  // namespace

StoredPart to_stored_plain(const Part& part) {
  StoredPart stored;
  stored.name = part.name;
  stored.too_large = part.bytes.size() > base::limits::kStoredBytesMax;
  if (!stored.too_large) {
    stored.bytes = part.bytes;
    stored.hash = base::sha256(stored.bytes);
  }
  return stored;
}

StoredPart to_stored(const Part& part) {
  if (part.bytes.size() > base::limits::kStoredBytesMax) {
    return to_stored_plain(part);
  }
  std::string packed(ZSTD_compressBound(part.bytes.size()), '\0');
  const std::size_t n = ZSTD_compressCCtx(contexts().pack, packed.data(), packed.size(),
                                          part.bytes.data(), part.bytes.size(), kLevel);
  if (ZSTD_isError(n) != 0 || n >= part.bytes.size()) {
    return to_stored_plain(part);
  }
  packed.resize(n);
  StoredPart stored;
  stored.name = part.name;
  stored.codec = kCodecZstd;
  stored.bytes = packed;
  stored.hash = base::sha256(stored.bytes);
  return stored;
}

base::Result<std::string> from_stored(int codec, std::string_view bytes) {
  if (codec == kCodecPlain) {
    return std::string(bytes);
  }
  if (codec != kCodecZstd) {
    return base::Error(base::ErrorCode::kUnsupported, "a part is kept in an unknown form",
                       "codec " + std::to_string(codec));
  }
  const unsigned long long size = ZSTD_getFrameContentSize(bytes.data(), bytes.size());
  if (size == ZSTD_CONTENTSIZE_ERROR || size == ZSTD_CONTENTSIZE_UNKNOWN) {
    return base::Error(base::ErrorCode::kCorrupt, "a part cannot be unpacked");
  }
  if (size > base::limits::kStoredBytesMax) {
    return base::Error(base::ErrorCode::kLimit, "a part would unpack to more than is ever stored");
  }
  std::string out(static_cast<std::size_t>(size), '\0');
  const std::size_t n =
      ZSTD_decompressDCtx(contexts().unpack, out.data(), out.size(), bytes.data(), bytes.size());
  if (ZSTD_isError(n) != 0 || n != out.size()) {
    return base::Error(base::ErrorCode::kCorrupt, "a part cannot be unpacked");
  }
  return out;
}

}  // namespace engine::journal

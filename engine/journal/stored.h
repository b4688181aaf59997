#pragma once
// How a part's bytes are kept: plain, or zstd (RFC 8878) when that is smaller; either sealed with a
// key (seal.h).

#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/journal/record.h"

namespace engine::journal {

inline constexpr int kCodecPlain = 0;
inline constexpr int kCodecZstd = 1;
inline constexpr int kCodecSealedPlain = 2;
inline constexpr int kCodecSealedZstd = 3;

inline bool is_sealed(int codec) {
  return codec == kCodecSealedPlain || codec == kCodecSealedZstd;
}

// What is larger than limits::kStoredBytesMax is marked so, and the change that it is part of
// fails.
StoredPart to_stored(const Part& part);
// The same, never packed.
StoredPart to_stored_plain(const Part& part);
// Errors: kCorrupt when the bytes are not what their codec says, kLimit when they would unpack to
// more than limits::kStoredBytesMax, kUnsupported for a sealed part and a codec of a later version.
base::Result<std::string> from_stored(int codec, std::string_view bytes);

}  // namespace engine::journal

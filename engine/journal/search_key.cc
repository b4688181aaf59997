#include "engine/journal/search_key.h"

#include <algorithm>
#include <utility>

#include "engine/journal/secret_file.h"
#include "engine/journal/start_marks.h"
#include "engine/journal/store.h"

namespace engine::journal {
namespace {

constexpr std::size_t kBlockBytes = 64;  // of SHA-256

}  // namespace

base::Digest hmac_sha256(std::string_view key, std::string_view message) {
  std::string block(kBlockBytes, '\0');
  if (key.size() > kBlockBytes) {
    const base::Digest shortened = base::sha256(key);
    std::copy(shortened.begin(), shortened.end(), block.begin());
  } else {
    std::copy(key.begin(), key.end(), block.begin());
  }
  std::string inner = block;
  std::string outer = block;
  for (std::size_t i = 0; i < kBlockBytes; ++i) {
    inner[i] = static_cast<char>(inner[i] ^ 0x36);
    outer[i] = static_cast<char>(outer[i] ^ 0x5C);
  }
  const base::Digest digest = base::sha256(inner.append(message));
  return base::sha256(outer.append(digest.begin(), digest.end()));
}

base::Digest hkdf_sha256(std::string_view key, std::string_view salt, std::string_view info) {
  const base::Digest drawn = hmac_sha256(salt, key);
  const std::string block = std::string(info) + '\x01';  // the first block is all that is needed
  return hmac_sha256(std::string(drawn.begin(), drawn.end()), block);
}

base::Result<SearchKey> SearchKey::load(const std::string& path, std::string_view random) {
  auto secret = load_secret(path, random);
  if (!secret) {
    return std::move(secret).error();
  }
  return SearchKey(std::move(*secret));
}

std::string SearchKey::hide(std::string_view identifier) const {
  if (identifier.empty()) {
    return {};
  }
  return base::to_hex(hmac_sha256(secret_, identifier)).substr(0, 32);
}

std::string document_mark(const SearchKey& key, std::string_view canonical_hash) {
  return "keyed " + key.derive("document", canonical_hash);
}

std::string SearchKey::derive(std::string_view purpose, std::string_view whose) const {
  const std::string info = std::string(purpose) + '\0' + std::string(whose);
  return base::to_hex(hkdf_sha256(secret_, "", info));
}

namespace {

base::Error another_key(const std::string& path) {
  return {base::ErrorCode::kConflict,
          "this is not the key that the journal's patients are hidden with; bring back the file "
          "that was made with the journal, or copy it from the engine that made it",
          path};
}

// Whether it is the key that the starts name; true where none names one.
base::Result<bool> is_of_the_starts(const Store& store, const SearchKey& key) {
  const auto marks = newest_start_marks(store);
  return marks ? base::Result<bool>(!*marks || (*marks)->search_key == key.hide(kSearchKeyMark))
               : marks.error();
}

}  // namespace

base::Result<SearchKey> open_search_key(Store& store, const std::string& path,
                                        std::string_view random) {
  auto key = SearchKey::load(path, "");
  if (!key && key.error().code == base::ErrorCode::kNotFound) {
    const auto size = store.size();
    const auto mark = store.agreed(kSearchKeyMark);
    if (!size || !mark) {
      return size ? mark.error() : size.error();
    }
    if (*size > 0 || !mark->empty()) {
      return base::Error(base::ErrorCode::kNotFound,
                         "the key that hides the journal's patients is missing; bring the file "
                         "back from a backup, or copy it from the engine that made it: under a new "
                         "one no patient would be found, and no legal hold would protect anybody",
                         path);
    }
    key = SearchKey::load(path, random);
  }
  if (!key) {
    return key;
  }
  // A table that was taken away agrees to any key, and makes a key that was swapped the right one.
  const auto same = is_of_the_starts(store, *key);
  if (!same || !*same) {
    return same ? another_key(path) : same.error();
  }
  const auto agreed = store.agree(kSearchKeyMark, key->hide(kSearchKeyMark));
  if (!agreed) {
    return agreed.error().code == base::ErrorCode::kConflict ? another_key(path) : agreed.error();
  }
  return key;
}

base::Result<SearchKey> load_search_key(const Store& store, const std::string& path) {
  auto key = SearchKey::load(path, "");
  const auto mark = key ? store.agreed(kSearchKeyMark) : base::Result<std::string>(key.error());
  if (!mark) {
    return mark.error();
  }
  const auto same = mark->empty() ? is_of_the_starts(store, *key)
                                  : base::Result<bool>(*mark == key->hide(kSearchKeyMark));
  if (!same) {
    return same.error();
  }
  return *same ? std::move(key) : another_key(path);
}

}  // namespace engine::journal

#include "engine/base/aes_gcm.h"

#include <limits>
#include <memory>

#include <openssl/crypto.h>
#include <openssl/evp.h>

#include "engine/base/check.h"

namespace engine::base {
namespace {

struct Free {
  void operator()(EVP_CIPHER_CTX* context) const { EVP_CIPHER_CTX_free(context); }
};
using Context = std::unique_ptr<EVP_CIPHER_CTX, Free>;

const unsigned char* bytes_of(std::string_view text) {
  return static_cast<const unsigned char*>(static_cast<const void*>(text.data()));
}
unsigned char* bytes_of(std::string& text) {
  return static_cast<unsigned char*>(static_cast<void*>(text.data()));
}
int length_of(std::string_view text) {
  ENGINE_CHECK(text.size() <= static_cast<std::size_t>(std::numeric_limits<int>::max()));
  return static_cast<int>(text.size());
}

// OpenSSL's default nonce length for this mode is the one above.
Context begin(std::string_view key, std::string_view nonce, std::string_view bound, int sealing) {
  ENGINE_CHECK(key.size() == kAesKeyBytes && nonce.size() == kGcmNonceBytes);
  Context context(EVP_CIPHER_CTX_new());
  ENGINE_CHECK(context != nullptr);
  // Fetched once: otherwise the library looks the algorithm up each time.
  static const EVP_CIPHER* const kind = EVP_CIPHER_fetch(nullptr, "AES-256-GCM", nullptr);
  ENGINE_CHECK(kind != nullptr);
  ENGINE_CHECK(EVP_CipherInit_ex(context.get(), kind, nullptr, bytes_of(key), bytes_of(nonce),
                                 sealing) == 1);
  int taken = 0;
  ENGINE_CHECK(bound.empty() || EVP_CipherUpdate(context.get(), nullptr, &taken, bytes_of(bound),
                                                 length_of(bound)) == 1);
  return context;
}

}  // namespace

std::string aes_gcm_seal(std::string_view key, std::string_view nonce, std::string_view text,
                         std::string_view bound) {
  const Context context = begin(key, nonce, bound, 1);
  std::string out(text.size() + kGcmTagBytes, '\0');
  int made = 0;
  int rest = 0;
  ENGINE_CHECK(text.empty() || EVP_CipherUpdate(context.get(), bytes_of(out), &made, bytes_of(text),
                                                length_of(text)) == 1);
  ENGINE_CHECK(EVP_CipherFinal_ex(context.get(), bytes_of(out) + made, &rest) == 1);
  ENGINE_CHECK(static_cast<std::size_t>(made + rest) == text.size());
  ENGINE_CHECK(EVP_CIPHER_CTX_ctrl(context.get(), EVP_CTRL_AEAD_GET_TAG,
                                   static_cast<int>(kGcmTagBytes),
                                   bytes_of(out) + text.size()) == 1);
  return out;
}

Result<std::string> aes_gcm_open(std::string_view key, std::string_view nonce,
                                 std::string_view sealed, std::string_view bound) {
  const Error wrong(ErrorCode::kCorrupt, "what is sealed was altered, or sealed with another key");
  if (sealed.size() < kGcmTagBytes) {
    return wrong;
  }
  const std::string_view text = sealed.substr(0, sealed.size() - kGcmTagBytes);
  std::string tag(sealed.substr(text.size()));
  const Context context = begin(key, nonce, bound, 0);
  std::string out(text.size(), '\0');
  int made = 0;
  int rest = 0;
  ENGINE_CHECK(text.empty() || EVP_CipherUpdate(context.get(), bytes_of(out), &made, bytes_of(text),
                                                length_of(text)) == 1);
  ENGINE_CHECK(EVP_CIPHER_CTX_ctrl(context.get(), EVP_CTRL_AEAD_SET_TAG,
                                   static_cast<int>(kGcmTagBytes), bytes_of(tag)) == 1);
  unsigned char nothing = 0;  // in this mode the end gives no bytes
  if (EVP_CipherFinal_ex(context.get(), &nothing, &rest) != 1) {
    wipe(out);
    return wrong;
  }
  return out;
}

void wipe(std::string& secret) {
  OPENSSL_cleanse(secret.data(), secret.size());
  secret.clear();
}

}  // namespace engine::base

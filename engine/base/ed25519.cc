#include "engine/base/ed25519.h"

#include <memory>
#include <vector>

#include <openssl/bio.h>
#include <openssl/evp.h>
#include <openssl/pem.h>

namespace engine::base {
namespace {

struct Free {
  void operator()(EVP_PKEY* key) const { EVP_PKEY_free(key); }
  void operator()(EVP_MD_CTX* context) const { EVP_MD_CTX_free(context); }
  void operator()(BIO* bio) const { BIO_free(bio); }
};
using KeyHandle = std::unique_ptr<EVP_PKEY, Free>;
using ContextHandle = std::unique_ptr<EVP_MD_CTX, Free>;
using BioHandle = std::unique_ptr<BIO, Free>;
using Bytes = std::vector<unsigned char>;

Bytes bytes_of(std::string_view text) {
  return Bytes(text.begin(), text.end());
}

std::string text_of(const Bytes& bytes) {
  return std::string(bytes.begin(), bytes.end());
}

KeyHandle secret_key(std::string_view secret) {
  ENGINE_CHECK(secret.size() == kEd25519KeyBytes);
  const Bytes raw = bytes_of(secret);
  KeyHandle key(EVP_PKEY_new_raw_private_key(EVP_PKEY_ED25519, nullptr, raw.data(), raw.size()));
  ENGINE_CHECK(key != nullptr);
  return key;
}

KeyHandle public_key(std::string_view public_key) {
  ENGINE_CHECK(public_key.size() == kEd25519KeyBytes);
  const Bytes raw = bytes_of(public_key);
  KeyHandle key(EVP_PKEY_new_raw_public_key(EVP_PKEY_ED25519, nullptr, raw.data(), raw.size()));
  ENGINE_CHECK(key != nullptr);
  return key;
}

std::string raw_public(const EVP_PKEY* key) {
  Bytes raw(kEd25519KeyBytes);
  std::size_t size = raw.size();
  ENGINE_CHECK(EVP_PKEY_get_raw_public_key(key, raw.data(), &size) == 1 && size == raw.size());
  return text_of(raw);
}

}  // namespace

std::string ed25519_public(std::string_view secret) {
  return raw_public(secret_key(secret).get());
}

std::string ed25519_sign(std::string_view secret, std::string_view text) {
  const KeyHandle key = secret_key(secret);
  const ContextHandle context(EVP_MD_CTX_new());
  ENGINE_CHECK(context != nullptr);
  ENGINE_CHECK(EVP_DigestSignInit(context.get(), nullptr, nullptr, nullptr, key.get()) == 1);
  const Bytes message = bytes_of(text);
  Bytes signature(kEd25519SignatureBytes);
  std::size_t size = signature.size();
  ENGINE_CHECK(
      EVP_DigestSign(context.get(), signature.data(), &size, message.data(), message.size()) == 1 &&
      size == signature.size());
  return text_of(signature);
}

bool ed25519_verify(std::string_view key, std::string_view text, std::string_view signature) {
  if (key.size() != kEd25519KeyBytes || signature.size() != kEd25519SignatureBytes) {
    return false;
  }
  const KeyHandle handle = public_key(key);
  const ContextHandle context(EVP_MD_CTX_new());
  ENGINE_CHECK(context != nullptr);
  ENGINE_CHECK(EVP_DigestVerifyInit(context.get(), nullptr, nullptr, nullptr, handle.get()) == 1);
  const Bytes message = bytes_of(text);
  const Bytes claimed = bytes_of(signature);
  return EVP_DigestVerify(context.get(), claimed.data(), claimed.size(), message.data(),
                          message.size()) == 1;
}

std::string ed25519_to_pem(std::string_view key) {
  const KeyHandle handle = public_key(key);
  const BioHandle bio(BIO_new(BIO_s_mem()));
  ENGINE_CHECK(bio != nullptr && PEM_write_bio_PUBKEY(bio.get(), handle.get()) == 1);
  char* text = nullptr;
  const auto size = BIO_get_mem_data(bio.get(), &text);
  return std::string(text, static_cast<std::size_t>(size));
}

Result<std::string> ed25519_from_pem(std::string_view pem) {
  const BioHandle bio(BIO_new_mem_buf(pem.data(), static_cast<int>(pem.size())));
  const KeyHandle key(bio == nullptr ? nullptr
                                     : PEM_read_bio_PUBKEY(bio.get(), nullptr, nullptr, nullptr));
  if (key == nullptr || EVP_PKEY_get_id(key.get()) != EVP_PKEY_ED25519) {
    return Error(ErrorCode::kInvalid, "not an Ed25519 public key in PEM");
  }
  return raw_public(key.get());
}

}  // namespace engine::base

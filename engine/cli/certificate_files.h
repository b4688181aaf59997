#pragma once
// The engine's certificate and its key, as the site keeps them in two files. A renewed pair is
// taken while the engine runs; a pair that is not usable, or half written, leaves the one before in
// force. Not thread safe.

#include <chrono>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "engine/base/hash.h"
#include "engine/base/result.h"
#include "engine/web/tls.h"

namespace engine::cli {

class CertificateFiles {
 public:
  using Time = std::chrono::system_clock::time_point;
  // For the log: a stable name, and what happened.
  struct Event {
    std::string what;
    std::string text;
  };

  // Both PEM: the certificate with those that vouch for it, and the key without a passphrase.
  // Empty: the engine speaks plain HTTP.
  CertificateFiles(std::string certificate, std::string key)
      : certificate_(std::move(certificate)), key_(std::move(key)) {}

  // Errors, each with the file: kIo for one that cannot be read, kLimit, kInvalid for what is no
  // pair.
  base::Result<void> load();
  // The pair in force; null without files.
  std::shared_ptr<const web::Tls> tls() const { return tls_; }
  // Takes the files when they hold other bytes than before, and tells what there is to tell: a pair
  // that is refused, once; that the certificate is outdated or soon will be, once a day.
  std::vector<Event> look(Time now);

 private:
  std::optional<base::Error> take_changed();

  std::string certificate_;
  std::string key_;
  base::Digest seen_{};  // of the bytes of both, or of why they cannot be read
  std::shared_ptr<const web::Tls> tls_;
  std::optional<Time> warned_;
};

// What an operator has to know of a certificate at this time; empty when all is well. An outdated
// certificate keeps clients out, so it is said a month ahead.
std::string warning_of(const web::Tls& tls, CertificateFiles::Time now);

}  // namespace engine::cli

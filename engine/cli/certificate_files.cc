#include "engine/cli/certificate_files.h"

#include "engine/base/limits.h"
#include "engine/base/seams.h"
#include "engine/cli/read_file.h"

namespace engine::cli {
namespace {

// Renewing takes a person or a program that ran; both get a month to notice that it did not.
constexpr std::chrono::hours kWarnAhead{30 * 24};
constexpr std::chrono::hours kWarnPause{24};

}  // namespace

// Nothing when the bytes are those of the last time.
std::optional<base::Error> CertificateFiles::take_changed() {
  const auto certificate = read_file(certificate_, base::limits::kPemBytesMax);
  const auto rights = check_rights(key_, "the TLS key");
  const auto key = rights ? read_file(key_, base::limits::kPemBytesMax) : rights.error();
  if (!certificate || !key) {
    base::Error error = certificate ? key.error() : certificate.error();
    const base::Digest digest = base::sha256(error.text());
    const bool known = digest == seen_;
    seen_ = digest;
    return known ? std::nullopt : std::optional(std::move(error));
  }
  const base::Digest digest = base::sha256(base::sha256_hex(*certificate) + base::sha256_hex(*key));
  if (digest == seen_) {
    return std::nullopt;
  }
  seen_ = digest;
  auto tls = web::Tls::make(*certificate, *key);
  if (!tls) {
    return base::Error(tls.error().code, tls.error().detail, certificate_ + ", " + key_);
  }
  tls_ = std::move(*tls);
  return std::nullopt;
}

base::Result<void> CertificateFiles::load() {
  if (certificate_.empty()) {
    return {};
  }
  if (auto error = take_changed()) {
    return std::move(*error);
  }
  return {};
}

std::vector<CertificateFiles::Event> CertificateFiles::look(Time now) {
  std::vector<Event> events;
  if (!tls_) {
    return events;
  }
  const std::shared_ptr<const web::Tls> before = tls_;
  if (const auto error = take_changed()) {
    events.push_back({"certificate-refused", "what=\"" + error->text() + "\" in-force-until=" +
                                                 base::to_instant(tls_->ends())});
  }
  if (tls_ != before) {
    warned_.reset();
    events.push_back({"certificate-renewed", "ends=" + base::to_instant(tls_->ends())});
  }
  if (!warned_ || now >= *warned_ + kWarnPause) {
    warned_ = now;
    if (const std::string warning = warning_of(*tls_, now); !warning.empty()) {
      events.push_back({"certificate-ending", "what=\"" + warning + "\""});
    }
  }
  return events;
}

std::string warning_of(const web::Tls& tls, CertificateFiles::Time now) {
  if (now > tls.ends()) {
    return "the certificate ended " + base::to_instant(tls.ends()) +
           ": clients refuse it; renew it, the engine takes it without a restart";
  }
  if (now < tls.begins()) {
    return "the certificate begins only " + base::to_instant(tls.begins()) +
           ": clients refuse it until then; look at the clock of this machine";
  }
  if (now + kWarnAhead > tls.ends()) {
    return "the certificate ends " + base::to_instant(tls.ends()) + ": renew it before";
  }
  return "";
}

}  // namespace engine::cli

#pragma once
// The seam to the pure core: what intake needs of therapy::Translator, so that tests and
// simulations can put a small one in its place. Immutable; called from many threads.

#include <memory>
#include <span>
#include <string>
#include <string_view>

#include "engine/therapy/moved.h"
#include "engine/therapy/translate.h"

namespace engine::intake {

class SessionCore {
 public:
  virtual ~SessionCore() = default;
  virtual therapy::Translator::Admission admit(std::string_view body) const = 0;
  virtual therapy::Translation translate(std::span<const therapy::Revision> revisions) const = 0;
  // The same without the lineage, where a core saves work by it.
  virtual therapy::Translation translate_plainly(
      std::span<const therapy::Revision> revisions) const {
    return translate(revisions);
  }
  virtual const therapy::Provenance& provenance() const = 0;
  // See therapy/moved.h.
  virtual base::Result<therapy::Moved> move(const therapy::Movable& session,
                                            const therapy::Move& wanted) const;
  // The core to use for one piece of work from beginning to end: one that is exchanged while the
  // engine runs answers with the one in force now, and keeps it for as long as it is held.
  virtual std::shared_ptr<const SessionCore> pinned() const {
    return {std::shared_ptr<const SessionCore>(), this};
  }
};

// The translator itself, borrowed.
template <class Translator>
class BorrowedCore final : public SessionCore {
 public:
  explicit BorrowedCore(const Translator& translator) : translator_(translator) {}
  therapy::Translator::Admission admit(std::string_view body) const override {
    return translator_.admit(body);
  }
  therapy::Translation translate(std::span<const therapy::Revision> revisions) const override {
    return translator_.translate(revisions);
  }
  therapy::Translation translate_plainly(
      std::span<const therapy::Revision> revisions) const override {
    return translator_.translate(revisions, {.lineage = false});
  }
  const therapy::Provenance& provenance() const override { return translator_.provenance(); }
  base::Result<therapy::Moved> move(const therapy::Movable& session,
                                    const therapy::Move& wanted) const override {
    return translator_.move(session, wanted);
  }

 private:
  const Translator& translator_;
};

// Of what a revision is translated.
struct Basis {
  std::vector<std::uint32_t> revisions;  // it builds on, and itself last
  // Others before it, which never went there and which nobody gave up: see
  // therapy::Revision::unsent_before.
  std::vector<std::uint32_t> unsent;
  bool operator==(const Basis&) const = default;
};

// What a translation was made with, as journalled: "mapping=... profiles=... settings=...
// computation=... revisions=1,3 unsent=2".
std::string made_with(const therapy::Provenance& provenance, const Basis& basis);
// The revisions named by it; empty when it names none.
Basis basis_of(std::string_view made_with);

}  // namespace engine::intake

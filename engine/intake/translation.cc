#include "engine/intake/translation.h"

#include <algorithm>
#include <utility>

#include "engine/journal/sent_bundles.h"
#include "engine/journal/stored.h"

namespace engine::intake {

using journal::Change;
using journal::Kind;
using journal::Leg;
using journal::LegState;
using journal::Part;

namespace {

// It never went to the leg's target, and nobody gave it up. One that was not for this target was
// given up when it was given up elsewhere and stands nowhere.
bool is_unsent(std::uint32_t revision, const Leg& leg, std::span<const Leg> legs) {
  bool given_up = false;
  bool elsewhere = false;
  for (const Leg& one : legs) {
    if (one.revision != revision) {
      continue;
    }
    if (one.target == leg.target) {
      return one.state == LegState::kSuperseded;
    }
    const bool withdrawn = one.state == LegState::kWithdrawn;
    given_up = given_up || withdrawn;
    elsewhere = elsewhere || (journal::stands(one) && !withdrawn);
  }
  return elsewhere || !given_up;
}

}  // namespace

Basis basis_of(const Leg& leg, std::span<const Leg> legs,
               std::span<const journal::Acceptance> known) {
  Basis out;
  for (const Leg& earlier : legs) {
    if (earlier.target == leg.target && earlier.revision < leg.revision &&
        journal::stands(earlier) && !journal::is_doubtful(earlier)) {
      out.revisions.push_back(earlier.revision);
    }
  }
  out.revisions.push_back(leg.revision);
  for (const journal::Acceptance& one : known) {
    if (one.revision < leg.revision && is_unsent(one.revision, leg, legs)) {
      out.unsent.push_back(one.revision);
    }
  }
  return out;
}

bool follows_another(const Leg& leg, std::span<const Leg> legs) {
  return std::any_of(legs.begin(), legs.end(), [&leg](const Leg& earlier) {
    return earlier.target == leg.target && earlier.revision < leg.revision &&
           journal::stands(earlier);
  });
}

namespace {

base::Result<therapy::Revision> load_revision(const journal::Store& store,
                                              std::span<const journal::Acceptance> known,
                                              std::uint32_t revision) {
  const auto found = std::find_if(known.begin(), known.end(), [&](const journal::Acceptance& one) {
    return one.revision == revision;
  });
  if (found == known.end()) {
    return base::Error(base::ErrorCode::kCorrupt,
                       "a revision that was built on is not in the journal",
                       "revision " + std::to_string(revision));
  }
  auto body = store.part(found->position, "document");
  auto head = body ? store.head(found->position) : base::Result<journal::Head>(body.error());
  if (!head) {
    return head.error();
  }
  return therapy::Revision{std::move(*body), std::move(head->record.time)};
}

}  // namespace

base::Result<std::vector<therapy::Revision>> load_revisions(const journal::Store& store,
                                                            std::string_view session,
                                                            const Basis& basis, Lost lost) {
  const auto known = store.acceptances(session);
  if (!known) {
    return known.error();
  }
  std::vector<therapy::Revision> out;
  auto unsent = basis.unsent.begin();
  for (const std::uint32_t revision : basis.revisions) {
    auto loaded = load_revision(store, *known, revision);
    for (; loaded && unsent != basis.unsent.end() && *unsent < revision; ++unsent) {
      auto before = load_revision(store, *known, *unsent);
      const bool gone = !before && before.error().code == base::ErrorCode::kNotFound;
      if (!before && !(gone && lost == Lost::kMarked)) {
        return std::move(before).error();
      }
      loaded->unsent_before.push_back(before ? std::move(before->body) : std::string());
    }
    if (!loaded) {
      return std::move(loaded).error();
    }
    out.push_back(std::move(*loaded));
  }
  return out;
}

std::string reason_of(const therapy::Translation& made) {
  const bool unnamed = made.verdict != therapy::Verdict::kReady && made.hold_reason.empty();
  return unnamed ? std::string(kNotAdmitted) : made.hold_reason;
}

// Journals hold these from a time when they had the reason of a record server's refusal.
std::string reason_of(const journal::Record& made) {
  return made.reason == "refused" ? std::string(kNotAdmitted) : made.reason;
}

namespace {

// The sets and the computation, without the revisions.
std::string_view sets_of(std::string_view made_with) {
  return made_with.substr(0, made_with.find(" revisions="));
}

// A bundle that was sent for the target.
struct Sent {
  journal::Position bundle = 0;
  bool doubtful = false;
  std::uint32_t revision = 0;  // 0: of the one that is translated
  bool other_patient = false;  // than that one's
};

std::string json_of(const Sent& one, const std::string& bundle) {
  std::string out = "{";
  if (one.revision != 0) {
    out += R"("revision":)" + std::to_string(one.revision) + ",";
  }
  out += one.other_patient ? R"("otherPatient":true,)" : "";
  out += one.doubtful ? R"("doubtful":true,)" : "";
  return out + R"("bundle":)" + bundle + "}";
}

// Those of one revision, oldest first; `rendered` becomes false where rendering it again, on what
// it would be built on now, does not tell what they say.
base::Result<std::vector<Sent>> sent_of(const journal::Store& store, const Leg& leg,
                                        std::string_view own_sets, const Basis& basis,
                                        bool& rendered) {
  const auto others = journal::earlier_bundles_in_doubt(store, leg);
  if (!others) {
    return others.error();
  }
  std::vector<Sent> out;
  for (const journal::Position other : *others) {
    out.push_back({other, true});
  }
  const auto made = leg.bundle != 0 ? store.head(leg.bundle) : base::Result<journal::Head>({});
  if (!made) {
    return made.error();
  }
  const auto& parts = made->parts;
  if (std::any_of(parts.begin(), parts.end(),
                  [](const journal::Head::PartMark& mark) { return mark.name == "bundle"; })) {
    out.push_back({leg.bundle, journal::is_doubtful(leg)});
    rendered = rendered && sets_of(made->record.made_with) == own_sets &&
               basis_of(made->record.made_with) == basis;
  }
  rendered = rendered && others->empty() && !journal::is_doubtful(leg);
  return out;
}

// Of a revision for another target: whether it is there nobody knows.
base::Result<void> add_sent_to_others(const journal::Store& store, const Leg& leg,
                                      std::span<const Leg> legs, std::vector<Sent>& all) {
  const auto others = journal::sent_to_others(store, leg, legs);
  if (!others) {
    return others.error();
  }
  for (const Leg& one : *others) {
    const auto bundle = store.part(one.bundle, "bundle");
    if (bundle) {
      all.push_back({one.bundle, true, one.revision, one.patient != leg.patient});
    } else if (bundle.error().code != base::ErrorCode::kNotFound) {
      return bundle.error();
    }
  }
  return {};
}

// An entry that went missing, a reading under the ordered range: it goes on, and somebody may want
// to know.
bool says_something(const fhir::Issues& issues) {
  return std::any_of(issues.begin(), issues.end(), [](const fhir::Issue& issue) {
    return issue.severity != fhir::Severity::kInformation;
  });
}

// What was sent before, where rendering the earlier revisions again does not tell; otherwise empty.
// This revision itself may have left as another bundle, and one that was given up is told of by its
// bundle alone.
base::Result<std::string> sent_before(const journal::Store& store, const Leg& leg,
                                      std::span<const Leg> legs,
                                      std::span<const journal::Acceptance> known,
                                      const therapy::Provenance& provenance) {
  const std::string own = made_with(provenance, {});
  std::vector<Sent> all;
  if (auto added = add_sent_to_others(store, leg, legs, all); !added) {
    return std::move(added).error();
  }
  bool rendered = all.empty();
  for (const Leg& one : legs) {
    if (one.target == leg.target && one.revision <= leg.revision && journal::stands(one)) {
      auto sent = sent_of(store, one, sets_of(own), basis_of(one, legs, known), rendered);
      if (!sent) {
        return std::move(sent).error();
      }
      for (Sent& bundle : *sent) {
        bundle.revision = one.revision < leg.revision ? one.revision : 0;
        bundle.other_patient = one.patient != leg.patient;
        all.push_back(bundle);
      }
    }
  }
  std::string out;
  for (const Sent& one : rendered ? std::vector<Sent>() : all) {
    const auto bundle = store.part(one.bundle, "bundle");
    if (!bundle) {
      return bundle.error();
    }
    out += (out.empty() ? "[" : ",") + json_of(one, *bundle);
  }
  return out.empty() ? out : out + "]";
}

}  // namespace

base::Result<std::vector<therapy::Revision>> load_basis(const journal::Store& store,
                                                        const journal::Record& made) {
  auto revisions = load_revisions(store, made.session, basis_of(made.made_with), Lost::kError);
  if (!revisions || revisions->empty()) {
    return revisions;
  }
  auto before = store.part(made.position, kSentBefore);
  if (before) {
    revisions->back().sent_before = std::move(*before);
  } else if (before.error().code != base::ErrorCode::kNotFound) {
    return std::move(before).error();
  }
  return revisions;
}

base::Result<Change> translate_leg(const journal::Store& store, const SessionCore& core,
                                   const Leg& leg, std::span<const Leg> legs) {
  const auto known = store.acceptances(leg.session);
  if (!known) {
    return known.error();
  }
  const Basis basis = basis_of(leg, legs, *known);
  const std::shared_ptr<const SessionCore> pinned = core.pinned();
  auto revisions = load_revisions(store, leg.session, basis, Lost::kMarked);
  auto before =
      revisions ? sent_before(store, leg, legs, *known, pinned->provenance()) : revisions.error();
  if (!before) {
    return std::move(before).error();
  }
  revisions->back().sent_before = std::move(*before);
  const therapy::Translation made = pinned->translate(*revisions);
  Change change;
  change.record.session = leg.session;
  change.record.revision = leg.revision;
  change.record.target = leg.target;
  change.record.patient = leg.patient;
  change.record.made_with = made_with(pinned->provenance(), basis);
  change.only_if = LegState::kAccepted;
  change.only_if_changed = leg.changed;
  if (made.verdict == therapy::Verdict::kReady) {
    change.record.kind = Kind::kChecked;
  } else {
    change.record.kind = Kind::kHeld;
    // What an earlier try may have put there, before it was translated again, is still in doubt.
    change.record.unknown = leg.uncertain;
    change.record.reason = reason_of(made);
  }
  if (change.record.kind == Kind::kHeld || says_something(made.issues)) {
    change.parts.push_back(
        journal::to_stored(Part("outcome", fhir::to_operation_outcome(made.issues))));
  }
  if (!made.bundle.empty()) {
    change.parts.push_back(journal::to_stored(Part("bundle", made.bundle)));
  }
  if (!revisions->back().sent_before.empty()) {
    change.parts.push_back(journal::to_stored(Part(kSentBefore, revisions->back().sent_before)));
  }
  if (!made.lineage.empty()) {
    change.parts.push_back(journal::to_stored(Part("lineage", made.lineage)));
  }
  return change;
}

}  // namespace engine::intake

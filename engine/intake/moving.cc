#include "engine/intake/moving.h"

#include <algorithm>
#include <string_view>
#include <utility>

#include "engine/intake/intake.h"
#include "engine/intake/translation.h"
#include "engine/journal/stored.h"
#include "engine/journal/words.h"

namespace engine::intake {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using journal::Change;

// What the next revision is made of: the last one that was taken in, with those before it that are,
// or may be, part of what some record server was given.
Result<std::vector<therapy::Revision>> last_state(const journal::Store& store,
                                                  const std::string& session,
                                                  const std::vector<journal::Acceptance>& known,
                                                  const std::vector<journal::Leg>& legs) {
  if (known.empty()) {
    return Error(ErrorCode::kNotFound, "there is no such session", session);
  }
  std::vector<std::uint32_t> revisions;
  for (const journal::Acceptance& one : known) {
    const bool counts = std::any_of(legs.begin(), legs.end(), [&one](const journal::Leg& leg) {
      return leg.revision == one.revision && journal::stands(leg);
    });
    if (counts || legs.empty() || one.revision == known.back().revision) {
      revisions.push_back(one.revision);
    }
  }
  return load_revisions(store, session, revisions);
}

// Kind and place of each fault: an issue's sentence may hold the value that it is about, which has
// no place in an error's text.
std::string faults_of(const therapy::Translator::Admission& admission) {
  std::string out;
  for (const fhir::Issue& issue : admission.issues) {
    if (issue.severity == fhir::Severity::kError || issue.severity == fhir::Severity::kFatal) {
      out += (out.empty() ? "" : ", ") + issue.code + " at " + issue.expression;
    }
  }
  return out;
}

Result<Change> acceptance(const std::string& body, const char* reason, const SessionCore& core,
                          const journal::SearchKey& key, const therapy::Move& wanted,
                          std::span<const Target> targets) {
  therapy::Translator::Admission admission = core.admit(body);
  if (!admission.admitted) {
    return Error(ErrorCode::kInvalid, "what the move would send is refused", faults_of(admission));
  }
  Change change;
  change.record.kind = journal::Kind::kAccepted;
  change.record.session = admission.header.session_id;
  change.record.revision = admission.header.revision;
  change.record.patient = key.hide(admission.header.patient_key);
  change.record.therapist =
      admission.header.therapist_key == "|" ? "" : key.hide(admission.header.therapist_key);
  change.record.content = std::move(admission.content);
  change.record.reason = reason;
  change.record.actor = wanted.actor;
  change.record.why = wanted.why;
  choose_targets(targets, admission.meets, change);
  change.parts.push_back(journal::to_stored(journal::Part("document", body)));
  return change;
}

// Every record server that has something of the session, may have it, or is about to get it: also
// one that got it later than when it was taken in, or is not configured just now. `of_all`: those,
// too, for which it was given up.
std::string all_targets(const std::vector<journal::Leg>& legs, bool of_all) {
  std::vector<std::string_view> names;
  for (const journal::Leg& leg : legs) {
    if ((of_all || journal::stands(leg)) &&
        std::find(names.begin(), names.end(), leg.target) == names.end()) {
      names.push_back(leg.target);
    }
  }
  std::string out;
  for (const std::string_view name : names) {
    out += (out.empty() ? "" : ",") + std::string(name);
  }
  return out;
}

}  // namespace

Result<Moving> move_to_patient(const journal::Store& store, const SessionCore& core,
                               const journal::SearchKey& key, const std::string& session,
                               const therapy::Move& wanted, std::span<const Target> targets) {
  if (auto good = journal::check_words(wanted.actor, wanted.why); !good) {
    return good.error();
  }
  const auto known = store.acceptances(session);
  const auto legs = known ? store.legs(session) : known.error();
  const auto revisions = legs ? last_state(store, session, *known, *legs) : legs.error();
  if (!revisions) {
    return revisions.error();
  }
  const std::shared_ptr<const SessionCore> pinned = core.pinned();
  const auto moved = pinned->move(*revisions, wanted);
  if (!moved) {
    return moved.error();
  }
  auto away = acceptance(moved->taken_back, journal::kMovedAway, *pinned, key, wanted, {});
  auto here = away ? acceptance(moved->entered, journal::kMovedHere, *pinned, key, wanted, targets)
                   : away.error();
  if (!here) {
    return std::move(here).error();
  }
  const auto there = store.acceptances(here->record.session);
  if (!there) {
    return there.error();
  }
  if (!there->empty()) {
    return Error(ErrorCode::kConflict,
                 "the identifier that the new session would get is taken: give another",
                 here->record.session);
  }
  away->record.targets = all_targets(*legs, false);
  if (targets.empty()) {
    here->record.targets = all_targets(*legs, true);
  }
  here->only_with_previous = true;
  Moving moving;
  moving.entered = here->record.session;
  moving.changes.push_back(std::move(*away));
  moving.changes.push_back(std::move(*here));
  return moving;
}

Result<void> check_moved(const std::vector<journal::Outcome>& outcomes) {
  for (const journal::Outcome& outcome : outcomes) {
    if (outcome.verdict != journal::Outcome::Verdict::kWritten) {
      return Error(ErrorCode::kConflict,
                   "another revision of the session came in meanwhile: look at it, then try again");
    }
  }
  return {};
}

}  // namespace engine::intake

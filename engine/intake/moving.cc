#include "engine/intake/moving.h"

#include <algorithm>
#include <set>
#include <string_view>
#include <utility>

#include "engine/intake/intake.h"
#include "engine/intake/translation.h"
#include "engine/journal/stored.h"
#include "engine/journal/target_names.h"
#include "engine/journal/words.h"

namespace engine::intake {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using journal::Change;

using journal::Acceptance;
using journal::Leg;
using journal::LegState;
using Numbers = std::vector<std::uint32_t>;

constexpr const char* kTaken =
    "the identifier that the new session would get is taken: give another";

void add(std::uint32_t revision, Numbers& to) {
  if (std::find(to.begin(), to.end(), revision) == to.end()) {
    to.push_back(revision);
  }
}

// On whose chart a record server has the session: `charted` gets the revision that the next one
// will be compared with there, `in_doubt` those before it that may be what is there now, or may
// have been sent although they were given up.
void look_at_chart(const std::vector<Leg>& legs, std::string_view target, Numbers& charted,
                   Numbers& in_doubt) {
  bool found = false;
  std::uint32_t waiting = 0;
  for (auto leg = legs.rbegin(); leg != legs.rend(); ++leg) {  // the newest first
    if (leg->target != target || !journal::stands(*leg) ||
        (leg->state == LegState::kHeld && !leg->uncertain)) {
      continue;  // what is held and was never sent is superseded by the next one
    }
    if (leg->state == LegState::kAccepted && !leg->uncertain) {
      waiting = leg->revision;
      continue;
    }
    const bool given_up = journal::is_doubtful(*leg);
    add(leg->revision, given_up || found ? in_doubt : charted);
    found = found || !given_up;
    if (leg->state == LegState::kLanded) {
      return;
    }
  }
  if (!found && waiting != 0) {
    add(waiting, charted);
  }
}

struct MoveBasis {
  Basis said;
  Numbers charted;
  Numbers in_doubt;
  Numbers left_out;
};

// See therapy::Movable. A revision that is held says what the sender said last, and nobody gave it
// up; one that was given up is left out wherever it may have got to.
MoveBasis basis_of_move(const std::vector<Acceptance>& known, const std::vector<Leg>& legs) {
  MoveBasis out;
  for (const Acceptance& one : known) {
    bool meant = false;
    bool counts = false;
    bool given_up = false;
    for (const Leg& leg : legs) {
      if (leg.revision == one.revision) {
        meant = true;
        given_up = given_up || leg.state == LegState::kWithdrawn;
        counts = counts || (journal::stands(leg) && leg.state != LegState::kWithdrawn);
      }
    }
    if (counts || (!meant && (legs.empty() || one.revision == known.back().revision))) {
      out.said.revisions.push_back(one.revision);
    } else if (given_up) {
      out.left_out.push_back(one.revision);
    } else if (!out.said.revisions.empty()) {
      out.said.unsent.push_back(one.revision);  // never sent: what it takes back counts
    }
  }
  if (out.said.revisions.empty()) {  // all was given up, and is to be entered after all
    out.said.revisions.push_back(known.back().revision);
    out.left_out.erase(std::remove(out.left_out.begin(), out.left_out.end(), known.back().revision),
                       out.left_out.end());
  }
  std::set<std::string_view> targets;
  for (const Leg& leg : legs) {
    targets.insert(leg.target);
  }
  for (const std::string_view target : targets) {
    look_at_chart(legs, target, out.charted, out.in_doubt);
  }
  if (out.charted.empty() && out.in_doubt.empty()) {
    out.charted.push_back(out.said.revisions.back());
  }
  std::sort(out.charted.rbegin(), out.charted.rend());
  std::sort(out.in_doubt.rbegin(), out.in_doubt.rend());
  return out;
}

Result<therapy::Movable> documents_of(const journal::Store& store, const std::string& session,
                                      const std::vector<Acceptance>& known,
                                      const MoveBasis& basis) {
  therapy::Movable out;
  out.next = known.back().revision + 1;
  for (const auto& [numbers, to] : {std::pair(basis.said, &out.said),
                                    {Basis{basis.charted, {}}, &out.charted},
                                    {Basis{basis.in_doubt, {}}, &out.in_doubt}}) {
    auto revisions = load_revisions(store, session, numbers, Lost::kMarked);
    if (!revisions) {
      return std::move(revisions).error();
    }
    *to = std::move(*revisions);
  }
  return out;
}

Result<void> may_move(const journal::Store& store, const std::string& session,
                      const std::vector<Acceptance>& known) {
  if (known.empty()) {
    return Error(ErrorCode::kNotFound, "there is no such session", session);
  }
  const auto moved = is_moved_away(store, known.back().position);
  if (!moved) {
    return moved.error();
  }
  if (*moved) {
    return Error(ErrorCode::kConflict,
                 "the session was moved before; where what takes it back was given up, remap "
                 "brings that back");
  }
  return {};
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
  change.record.content = journal::document_mark(key, admission.content);
  change.record.reason = reason;
  change.record.actor = wanted.actor;
  change.record.why = wanted.why;
  choose_targets(targets, admission.meets, change);
  change.parts.push_back(journal::to_stored(journal::Part("document", body)));
  return change;
}

using Names = std::vector<std::string>;

void add_name(Names& names, std::string_view name) {
  if (std::find(names.begin(), names.end(), name) == names.end()) {
    names.emplace_back(name);
  }
}

// Every record server that has something of the session, may have it, or is about to get it: also
// one that got it later than when it was taken in, or is not configured just now. `of_all`: those,
// too, for which it was given up.
Names all_targets(const std::vector<journal::Leg>& legs, bool of_all) {
  Names names;
  for (const journal::Leg& leg : legs) {
    if (of_all || journal::stands(leg)) {
      add_name(names, leg.target);
    }
  }
  return names;
}

// Where one of them is not configured any more, those that are may have what it had, under another
// name or by a resend; what takes the session back looks for it there.
Result<void> add_successors(const journal::Store& store, Names& names) {
  const auto start = store.newest(journal::Kind::kStarted);
  if (!start) {
    return start.error();
  }
  const Names configured = journal::target_names(*start ? (*start)->targets : std::string());
  const bool one_is_gone = std::any_of(names.begin(), names.end(), [&configured](const auto& name) {
    return std::find(configured.begin(), configured.end(), name) == configured.end();
  });
  for (const std::string& name : one_is_gone ? configured : Names()) {
    add_name(names, name);
  }
  return {};
}

std::string list_of(const Names& names) {
  std::string out;
  for (const std::string& name : names) {
    out += (out.empty() ? "" : ",") + name;
  }
  return out;
}

}  // namespace

Result<bool> is_moved_away(const journal::Store& store, journal::Position accepted) {
  const auto head = store.head(accepted);
  if (head || head.error().code != ErrorCode::kCorrupt) {
    return head ? Result<bool>(head->record.reason == journal::kMovedAway) : head.error();
  }
  const auto behind = store.head(accepted + 1);
  return behind && behind->record.reason == journal::kMovedHere;
}

Result<Moving> move_to_patient(const journal::Store& store, const SessionCore& core,
                               const journal::SearchKey& key, const std::string& session,
                               const therapy::Move& wanted, std::span<const Target> targets) {
  if (auto good = journal::check_words(wanted.actor, wanted.why); !good) {
    return good.error();
  }
  const auto known = store.acceptances(session);
  const auto legs = known ? store.legs(session) : known.error();
  if (!legs) {
    return legs.error();
  }
  if (auto good = may_move(store, session, *known); !good) {
    return std::move(good).error();
  }
  MoveBasis basis = basis_of_move(*known, *legs);
  const auto movable = documents_of(store, session, *known, basis);
  if (!movable) {
    return movable.error();
  }
  const std::shared_ptr<const SessionCore> pinned = core.pinned();
  const auto moved = pinned->move(*movable, wanted);
  if (!moved) {
    return moved.error();
  }
  auto away = acceptance(moved->taken_back, journal::kMovedAway, *pinned, key, wanted, targets);
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
    return Error(ErrorCode::kConflict, kTaken, here->record.session);
  }
  Names taken_back = all_targets(*legs, false);
  if (auto added = add_successors(store, taken_back); !added) {
    return std::move(added).error();
  }
  for (const std::string& name : journal::target_names(away->record.targets)) {
    add_name(taken_back, name);  // one that came later may have been given what is elsewhere
  }
  away->record.targets = list_of(taken_back);
  away->also_if_before.clear();
  if (targets.empty()) {
    here->record.targets = list_of(all_targets(*legs, true));
  }
  here->only_with_previous = true;
  Moving moving;
  moving.entered = here->record.session;
  moving.left_out = std::move(basis.left_out);
  moving.changes.push_back(std::move(*away));
  moving.changes.push_back(std::move(*here));
  return moving;
}

Result<void> check_moved(const std::vector<journal::Outcome>& outcomes) {
  using Verdict = journal::Outcome::Verdict;
  for (const journal::Outcome& outcome : outcomes) {
    if (outcome.verdict == Verdict::kNotNow) {  // of the first: the second stood against it
      return Error(ErrorCode::kConflict, kTaken);
    }
    if (outcome.verdict != Verdict::kWritten) {
      return Error(ErrorCode::kConflict,
                   "another revision of the session came in meanwhile: look at it, then try again");
    }
  }
  return {};
}

}  // namespace engine::intake

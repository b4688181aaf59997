#include "engine/intake/steering.h"

#include <algorithm>
#include <array>
#include <utility>
#include <vector>

#include "engine/intake/moving.h"
#include "engine/journal/words.h"

namespace engine::intake {
namespace {

using journal::Kind;
using journal::Leg;
using journal::LegState;

struct ReasonRow {
  std::string_view code;
  std::string_view text;
  bool may_release;
};
// A bundle that failed its check is never sent as it is, so it cannot be released.
constexpr std::array<ReasonRow, 35> kReasons = {{
    {"unconfirmed-value",
     "a value is improbable and nobody confirmed it; confirm it in a new revision, or release",
     true},
    {"contradiction",
     "two things that were recorded cannot both be; correct one in a new revision, or release",
     true},
    {"time-in-future",
     "a time lies ahead of the intake's clock; correct it in a new revision, or release", true},
    {"reason-missing",
     "an entry was changed or withdrawn and nobody said why; send a new revision with a reason, or "
     "release",
     true},
    {"missing-entry",
     "it leaves out what an earlier revision says, which was never sent; send the whole session, "
     "with the entry or its withdrawal, or release",
     true},
    {"unknown-entry",
     "it withdraws an entry that no revision has, and seems to mean another; correct its id in a "
     "new revision, or release",
     true},
    {"patient-changed",
     "a later revision names another patient; move the session, or release if both are one person",
     true},
    {"unknown-code", "a code has no translation; add it to the code table and remap", false},
    {"check-failed", "a resource does not fit its published shape; mend the mapping and remap",
     false},
    {"map-failed", "the mapping could not be run on this document; mend it and remap", false},
    {"condition-failed",
     "the condition of this record server cannot be decided for this session; mend it in the "
     "configuration and remap, or withdraw",
     false},
    {"condition-not-met",
     "the condition of this record server does not hold for it, and nothing before it went there; "
     "withdraw it, or change the condition and remap",
     false},
    {"no-target", "no record server's condition holds for it: it is kept and goes nowhere", false},
    {"not-admitted",
     "the profiles in force for this record server do not admit the document, so nothing is made "
     "of it; see the outcome, then mend them and remap, or send a new revision",
     false},
    {"refused", "the record server refuses the content; see its answer", true},
    {"forbidden", "the record server does not allow this; check the rights and release", true},
    {"unknown-patient",
     "the record server does not know the patient yet; it is tried again by itself", true},
    {"unknown-reference",
     "the record server does not know something that is referred to; it is tried again by itself",
     true},
    {"version-conflict",
     "the record was changed on the server by somebody else; compare, then release or withdraw",
     true},
    {"changed-elsewhere",
     "somebody else changed or deleted on the record server what this revision changes; compare, "
     "then release (it is written over the version shown) or withdraw",
     true},
    {"several-matches",
     "the record server has several records where one is meant; have them merged, then release",
     true},
    {"conflict", "the record server reports a conflict that did not go away", true},
    {"gone", "the record was deleted on the server", true},
    {"not-readable",
     "the record server does not show what this revision is to be written over; let the engine "
     "read "
     "there, then release (a release without that writes over the versions of the journal, unseen)",
     true},
    {"too-large",
     "one resource alone is larger than the record server takes; raise its limit and release, or "
     "withdraw",
     true},
    {"html-answer",
     "something answered with a web page instead of the record server; it may or may not have "
     "landed; "
     "check the address, then release",
     true},
    {"unexpected-answer",
     "the answer does not prove that the session landed; release to send it again, which is safe",
     true},
    {"server-error", "the record server failed on this message several times; it is tried again",
     true},
    {"no-answer", "the record server did not answer this message several times; it is tried again",
     true},
    {"busy", "the record server was busy with this several times; it is tried again", true},
    {"locked", "the record stayed locked on the server; it is tried again", true},
    {"document-unreadable", "the stored document cannot be read back; verify the journal", false},
    {"document-destroyed",
     "a document that this revision builds on was destroyed on purpose; withdraw it, and send what "
     "is to be kept as another session",
     false},
    {"bundle-destroyed",
     "what was to be sent was destroyed on purpose; withdraw it, and send what is to be kept as "
     "another session",
     false},
    {"bundle-unreadable", "the stored bundle cannot be read back; verify the journal, then remap",
     false},
}};

const ReasonRow* row_of(std::string_view code) {
  const auto row = std::find_if(kReasons.begin(), kReasons.end(),
                                [&](const ReasonRow& one) { return one.code == code; });
  return row == kReasons.end() ? nullptr : &*row;
}

bool is_of_gone_target(const SteerRequest& request) {
  return request.action == Steer::kWithdraw && !request.target.empty() &&
         !request.targets.empty() &&
         std::find(request.targets.begin(), request.targets.end(), request.target) ==
             request.targets.end();
}

bool is_meant(const Leg& leg, const SteerRequest& request) {
  return (request.revision == 0 || leg.revision == request.revision) &&
         (request.target.empty() || leg.target == request.target);
}

// What takes a moved session back and was given up. It can be brought back: the session takes
// nothing in any more, so that nothing else could put right the chart that it was moved away from.
base::Result<std::vector<Leg>> taking_back_given_up(const journal::Store& store,
                                                    const std::vector<Leg>& legs,
                                                    const SteerRequest& request) {
  std::vector<Leg> found;
  for (const Leg& leg : legs) {
    if (leg.state == LegState::kWithdrawn && is_meant(leg, request)) {
      const auto away = is_moved_away(store, leg.accepted);
      if (!away) {
        return away.error();
      }
      if (*away) {
        found.push_back(leg);
      }
    }
  }
  return found;
}

base::Result<Leg> find_held(const journal::Store& store, const SteerRequest& request) {
  const auto legs = store.legs(request.session);
  if (!legs) {
    return legs.error();
  }
  const bool of_gone = is_of_gone_target(request);
  std::vector<Leg> held;
  for (const Leg& leg : *legs) {
    const bool waits = leg.state == LegState::kAccepted || leg.state == LegState::kChecked;
    if ((leg.state == LegState::kHeld || (of_gone && waits)) && is_meant(leg, request)) {
      held.push_back(leg);
    }
  }
  if (held.empty() && request.action == Steer::kRemap) {
    auto back = taking_back_given_up(store, *legs, request);
    if (!back) {
      return std::move(back).error();
    }
    held = std::move(*back);
  }
  if (held.empty()) {
    return base::Error(base::ErrorCode::kNotFound,
                       legs->empty() ? "there is no such session"
                       : of_gone     ? "nothing of this session waits for that target or is held"
                       : request.revision != 0 ? "nothing of this revision is held"
                                               : "nothing of this session is held",
                       request.session);
  }
  if (held.size() > 1) {
    return base::Error(base::ErrorCode::kConflict,
                       of_gone ? "several revisions wait for that target; say which"
                               : "several revisions or targets are held; say which",
                       request.session);
  }
  return held.front();
}

}  // namespace

std::optional<Steer> steer_of(std::string_view name) {
  if (name == "release") {
    return Steer::kRelease;
  }
  if (name == "remap") {
    return Steer::kRemap;
  }
  if (name == "withdraw") {
    return Steer::kWithdraw;
  }
  return std::nullopt;
}

base::Result<journal::Change> steer(const journal::Store& store, const SteerRequest& request) {
  if (auto good = journal::check_words(request.actor, request.why); !good) {
    return good.error();
  }
  if (auto good = journal::check_line(request.target); !good) {
    return good.error();
  }
  auto leg = find_held(store, request);
  if (!leg) {
    return leg.error();
  }
  if (request.action == Steer::kRelease) {
    const ReasonRow* row = row_of(leg->reason);
    const bool may = leg->bundle != 0 && (row == nullptr || row->may_release);
    const auto bundle = may ? store.part(leg->bundle, "bundle") : base::Result<std::string>({});
    if (!bundle && bundle.error().code != base::ErrorCode::kNotFound) {
      return bundle.error();  // sealed and no key given, damaged: nothing is wrong with the reason
    }
    if (!may || !bundle) {
      return base::Error(base::ErrorCode::kInvalid,
                         "this one cannot be released (" + leg->reason +
                             "): mend what stopped it and remap, or send a new revision");
    }
  }
  journal::Change change;
  change.record.kind = request.action == Steer::kRelease ? Kind::kReleased
                       : request.action == Steer::kRemap ? Kind::kRemapped
                                                         : Kind::kWithdrawn;
  change.record.session = leg->session;
  change.record.revision = leg->revision;
  change.record.target = leg->target;
  change.record.patient = leg->patient;
  change.record.actor = request.actor;
  change.record.why = request.why;
  change.only_if = leg->state;
  change.only_if_changed = leg->changed;
  return change;
}

std::string_view reason_text(std::string_view code) {
  const ReasonRow* row = row_of(code);
  return row != nullptr ? row->text : code;
}

}  // namespace engine::intake

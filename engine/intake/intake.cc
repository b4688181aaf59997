#include "engine/intake/intake.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <functional>
#include <mutex>
#include <set>
#include <utility>

#include "engine/base/limits.h"
#include "engine/intake/translation.h"
#include "engine/intake/withdrawals.h"
#include "engine/journal/failure.h"
#include "engine/journal/journal.h"
#include "engine/journal/stored.h"

namespace engine::intake {

using journal::Change;
using journal::Kind;
using journal::Outcome;
using journal::Part;
using therapy::Meets;

struct Intake::State : std::enable_shared_from_this<State> {
  struct UnderWay;

  State(World w, std::vector<Target> t, std::function<void(const std::string&)> done)
      : world(w), targets(std::move(t)), translated(std::move(done)) {
    for (const Target& target : targets) {
      names.push_back(target.name);
    }
  }

  void judge(const Arrival& arrival, const Answered& answered);
  void refuse(const Arrival& arrival, Answer answer, const therapy::SessionHeader& header,
              const Answered& answered);
  void keep(const Arrival& arrival, therapy::Translator::Admission admission,
            const Answered& answered);
  Answer try_out(const std::string& document, const std::string& now) const;
  Answer answer_to(const Outcome& outcome, const therapy::SessionHeader& header) const;
  void enqueue(const std::string& session);
  void translate(const std::string& session);
  void translate_for(const Target& target, const std::vector<journal::Leg>& legs);
  base::Result<Change> made_for(const Target& target, const journal::Leg& leg,
                                const std::vector<journal::Leg>& legs) const;
  void hold(const journal::Leg& leg, const char* reason, const std::shared_ptr<UnderWay>& mark);

  World world;
  std::vector<Target> targets;
  std::vector<std::string> names;  // theirs
  std::function<void(const std::string&)> translated;
  void count_backlog();

  std::atomic<std::size_t> in_hand{0};
  std::atomic<std::uint64_t> backlog{0};
  std::size_t sweeps_until_count = 0;
  std::mutex mutex;
  std::set<std::string> waiting;  // sessions that a worker has been given
  // Session and target of what is being translated and written: a record of one target wakes the
  // session, and what another is about to have must not be made for it twice.
  std::set<std::pair<std::string, std::string>> under_way;
};

// A mark in `under_way`, until the record is written or none will be.
struct Intake::State::UnderWay {
  UnderWay(std::shared_ptr<State> s, const journal::Leg& leg)
      : state(std::move(s)), of(leg.session, leg.target) {
    const std::lock_guard lock(state->mutex);
    state->under_way.insert(of);
  }
  UnderWay(const UnderWay&) = delete;
  UnderWay& operator=(const UnderWay&) = delete;
  ~UnderWay() { end(); }
  // Before the session is woken for what comes next, which would pass it over otherwise.
  void end() {
    const std::lock_guard lock(state->mutex);
    if (!ended) {
      state->under_way.erase(of);
    }
    ended = true;
  }

  std::shared_ptr<State> state;
  std::pair<std::string, std::string> of;
  bool ended = false;
};

namespace {

constexpr const char* kBusy = "the engine has as much in hand as it can; send again in a moment";
constexpr const char* kBacklog =
    "as many sessions as may wait are waiting for a record server; nothing was kept, send again "
    "later";
constexpr const char* kFailing =
    "the engine cannot write to its journal just now; nothing was kept";

Answer answer_of(int status, std::string body) {
  Answer answer;
  answer.status = status;
  answer.body = std::move(body);
  answer.try_later = status == 503;
  return answer;
}

Answer later(const char* text) {
  return answer_of(503, problem_text("transient", text));
}

// Counts down when its last holder goes, whatever way the request ends.
std::shared_ptr<std::atomic<std::size_t>> counted(std::atomic<std::size_t>& counter) {
  ++counter;
  return {&counter, [](std::atomic<std::size_t>* one) { --*one; }};
}

Change held(const journal::Leg& leg, const char* reason) {
  Change change;
  change.record.kind = Kind::kHeld;
  change.record.session = leg.session;
  change.record.revision = leg.revision;
  change.record.target = leg.target;
  change.record.patient = leg.patient;
  change.record.reason = reason;
  // What an earlier try may have put there does not go away by this.
  change.record.unknown = leg.uncertain;
  change.only_if_changed = leg.changed;
  return change;
}

constexpr const char* kMapFailed = "map-failed";
constexpr const char* kConditionFailed = "condition-failed";
constexpr const char* kConditionNotMet = "condition-not-met";

// Whether the revision is here only because nobody could say at intake whether it is meant for the
// target, or because one before it was, which never went there.
base::Result<bool> came_along(const journal::Store& store, const journal::Leg& leg,
                              std::span<const journal::Leg> legs) {
  const bool followed = std::any_of(legs.begin(), legs.end(), [&leg](const journal::Leg& one) {
    return one.target == leg.target && one.revision < leg.revision;
  });
  if (followed) {
    return true;
  }
  journal::Query query;
  query.session = leg.session;
  query.target = leg.target;
  query.kind = Kind::kHeld;
  query.limit = base::limits::kHistoryRecordsMax;
  const auto records = store.search(query);
  if (!records) {
    return records.error();
  }
  return std::any_of(records->begin(), records->end(), [&leg](const journal::Record& one) {
    return one.revision == leg.revision && one.reason == kConditionFailed;
  });
}

// A core that throws is out of memory, or wrong; neither mends itself by trying again.
base::Result<Change> guarded_translation(const journal::Store& store, const SessionCore& core,
                                         const journal::Leg& leg,
                                         const std::vector<journal::Leg>& legs) {
  try {
    return translate_leg(store, core, leg, legs);
  } catch (const std::exception&) {
    return base::Error(base::ErrorCode::kLimit, "this revision could not be translated");
  }
}

// Whoever waits is answered, whatever becomes of the work.
void answering(const Answered& answered, const std::function<void()>& work) {
  try {
    work();
  } catch (const std::exception&) {
    answered(answer_of(500, problem_text("exception",
                                         "this document could not be worked on; nothing was "
                                         "kept")));
  }
}

std::string unknown_withdrawal_text(std::size_t which) {
  fhir::Issue issue;
  issue.code = "not-found";
  issue.expression = "TherapySession.withdrawal[" + std::to_string(which) + "].entry";
  issue.text =
      "No earlier revision of the session has an entry with this id, so nothing would be "
      "withdrawn: correct the id.";
  return fhir::to_operation_outcome({&issue, 1});
}

std::string person_key(const journal::SearchKey& key, const std::string& identifier) {
  return identifier == "|" ? std::string() : key.hide(identifier);
}

}  // namespace

void Intake::State::judge(const Arrival& arrival, const Answered& answered) {
  const SessionCore& core = world.core;
  therapy::Translator::Admission admission = core.admit(arrival.body);
  const therapy::SessionHeader& header = admission.header;
  if (!admission.admitted) {
    const bool unreadable = header.session_id.empty();
    Answer answer = answer_of(unreadable ? 400 : 422, fhir::to_operation_outcome(admission.issues));
    refuse(arrival, std::move(answer), header, answered);
    return;
  }
  if (!arrival.session.empty() && arrival.session != header.session_id) {
    refuse(arrival,
           answer_of(422, problem_text("conflict",
                                       "the document is about another session than the "
                                       "address it was sent to")),
           header, answered);
    return;
  }
  if (header.revision == 0 || header.revision > base::limits::kRevisionMax) {
    refuse(arrival,
           answer_of(422, problem_text("value", "a revision is a number from 1 to 100000")), header,
           answered);
    return;
  }
  const auto unknown =
      unknown_entry(world.journal.store(), header.session_id, header.revision, admission.withdrawn);
  if (!unknown) {
    answered(later(kFailing));
  } else if (*unknown) {
    refuse(arrival, answer_of(422, unknown_withdrawal_text(**unknown)), header, answered);
  } else {
    keep(arrival, std::move(admission), answered);
  }
}

// What is refused is journalled too, bounded, so that a sender's question can be answered later.
void Intake::State::refuse(const Arrival& arrival, Answer answer,
                           const therapy::SessionHeader& header, const Answered& answered) {
  Change change;
  change.record.kind = Kind::kRefused;
  change.record.session = header.session_id;
  change.record.revision = header.session_id.empty() ? 0 : header.revision;
  change.record.patient = person_key(world.search_key, header.patient_key);
  change.record.therapist = person_key(world.search_key, header.therapist_key);
  change.record.status = answer.status;
  change.record.actor = arrival.sender;
  change.parts.push_back(
      journal::to_stored(Part("document", arrival.body.substr(0, base::limits::kRefusedBytesMax))));
  change.parts.push_back(journal::to_stored(Part("outcome", answer.body)));
  const bool taken = world.journal.submit(std::move(change),
                                          [answer, answered](const base::Result<Outcome>& outcome) {
                                            answered(outcome ? answer : later(kFailing));
                                          });
  if (!taken) {
    answered(later(kBusy));
  }
}

void Intake::State::keep(const Arrival& arrival, therapy::Translator::Admission admission,
                         const Answered& answered) {
  const therapy::SessionHeader& header = admission.header;
  Change change;
  change.record.kind = Kind::kAccepted;
  change.record.session = header.session_id;
  change.record.revision = header.revision;
  change.record.patient = person_key(world.search_key, header.patient_key);
  change.record.therapist = person_key(world.search_key, header.therapist_key);
  change.record.content = journal::document_mark(world.search_key, admission.content);
  change.plain_content = std::move(admission.content);
  choose_targets(targets, admission.meets, change);
  change.record.actor = arrival.sender;
  change.parts.push_back(journal::to_stored(Part("document", arrival.body)));
  auto done = [self = shared_from_this(), header = std::move(admission.header),
               answered](const base::Result<Outcome>& outcome) {
    if (!outcome) {
      answered(later(kFailing));
      return;
    }
    if (outcome->verdict != Outcome::Verdict::kRepeated) {
      answered(self->answer_to(*outcome, header));
    } else if (!self->world.workers.run(header.session_id, [self, header, answered, o = *outcome] {
                 answered(self->answer_to(o, header));
               })) {
      answered(later(kBusy));
    }
    if (outcome->verdict == Outcome::Verdict::kWritten) {
      self->enqueue(header.session_id);
    }
  };
  if (!world.journal.submit(std::move(change), std::move(done))) {
    answered(later(kBusy));
  }
}

// Not on the writer's thread for a repeated one: it looks up how far the first has come.
Answer Intake::State::answer_to(const Outcome& outcome,
                                const therapy::SessionHeader& header) const {
  Answer answer;
  if (outcome.verdict == Outcome::Verdict::kWritten) {
    answer = answer_of(202, receipt_text(header.session_id, header.revision, "accepted",
                                         outcome.position, outcome.record.time));
  } else if (outcome.verdict == Outcome::Verdict::kRepeated) {
    const auto head = world.journal.store().head(outcome.position);
    const auto legs = world.journal.store().legs(header.session_id);
    // When the first cannot be read any more, the receipt of this one has to do.
    const bool damaged = !head && head.error().code == base::ErrorCode::kCorrupt;
    if ((!head && !damaged) || !legs) {
      return later(kFailing);
    }
    std::string_view state = "accepted";
    for (const journal::Leg& leg : *legs) {
      state = leg.revision == header.revision ? journal::name_of(leg.state) : state;
    }
    answer =
        answer_of(200, receipt_text(header.session_id, header.revision, state, outcome.position,
                                    damaged ? outcome.record.time : head->record.time));
  } else if (outcome.record.reason == journal::kMovedAway) {
    answer = answer_of(
        409,
        problem_text("conflict",
                     "this session was recorded on the wrong patient and has been moved to "
                     "another: nothing is taken in for it any more; send a session of its own"));
  } else if (outcome.position != 0) {
    answer = answer_of(
        409, problem_text("duplicate", "revision " + std::to_string(header.revision) +
                                           " of this session was taken in before with other "
                                           "content; send the change as a higher revision"));
  } else {
    answer = answer_of(409, problem_text("conflict",
                                         "a later revision of this session was taken in already; "
                                         "send the change with a revision higher than that"));
  }
  answer.session = header.session_id;
  return answer;
}

void Intake::State::enqueue(const std::string& session) {
  {
    const std::lock_guard lock(mutex);
    if (!waiting.insert(session).second) {
      return;
    }
  }
  const bool taken = world.translators.run(
      session, [self = shared_from_this(), session] { self->translate(session); });
  if (!taken) {
    // The next sweep finds it in the journal.
    const std::lock_guard lock(mutex);
    waiting.erase(session);
  }
}

void Intake::State::translate(const std::string& session) {
  // Looked at before the legs: what has ended by now is in them. What has not wakes the session.
  std::set<std::string> passed_over;
  {
    const std::lock_guard lock(mutex);
    waiting.erase(session);
    for (const std::string& name : names) {
      if (under_way.contains({session, name})) {
        passed_over.insert(name);
      }
    }
  }
  const auto legs = world.journal.store().legs(session);
  if (!legs) {
    return;
  }
  for (const Target& target : targets) {
    if (!passed_over.contains(target.name)) {
      translate_for(target, *legs);
    }
  }
}

// The bundle for a target, or that it is held.
base::Result<Change> Intake::State::made_for(const Target& target, const journal::Leg& leg,
                                             const std::vector<journal::Leg>& legs) const {
  const journal::Store& store = world.journal.store();
  // What corrects something that went there follows it, whatever the condition says.
  if (target.condition && !follows_another(leg, legs)) {
    const auto document = store.part(leg.accepted, "document");
    if (!document) {
      return document.error();
    }
    const std::vector<Meets> meets = world.core.admit(*document).meets;
    const Meets now = *target.condition < meets.size() ? meets[*target.condition] : Meets::kYes;
    if (now == Meets::kUndecided) {
      return held(leg, kConditionFailed);
    }
    const auto along = now == Meets::kNo ? came_along(store, leg, legs) : base::Result<bool>(false);
    if (!along) {
      return along.error();
    }
    if (*along) {
      return held(leg, kConditionNotMet);
    }
  }
  return guarded_translation(store, *target.core, leg, legs);
}

// The first waiting revision only: the next one builds on what becomes of it.
void Intake::State::translate_for(const Target& target, const std::vector<journal::Leg>& legs) {
  const auto leg = std::find_if(legs.begin(), legs.end(), [&](const journal::Leg& one) {
    return one.target == target.name && one.state == journal::LegState::kAccepted;
  });
  if (leg == legs.end()) {
    return;
  }
  const auto mark = std::make_shared<UnderWay>(shared_from_this(), *leg);
  base::Result<Change> change = made_for(target, *leg, legs);
  if (!change) {
    // The document cannot be read back: held, since no amount of trying again mends a disk. What
    // the next sweep, or an engine with the right key, may manage is left to them.
    const base::ErrorCode code = change.error().code;
    if (code != base::ErrorCode::kIo &&
        !journal::is_for_want_of_a_key(world.journal.store(), change.error())) {
      hold(*leg,
           code == base::ErrorCode::kLimit      ? kMapFailed
           : code == base::ErrorCode::kNotFound ? "document-destroyed"
                                                : "document-unreadable",
           mark);
    }
    return;
  }
  const std::string name = target.name;
  static_cast<void>(world.journal.submit(
      std::move(*change),
      [self = shared_from_this(), leg = *leg, name, mark](const base::Result<Outcome>& outcome) {
        if (!outcome) {
          if (journal::is_of_the_change(outcome.error().code)) {
            self->hold(leg, kMapFailed, mark);
          } else {
            mark->end();
          }
          return;  // likewise
        }
        if (outcome->record.kind == Kind::kChecked) {
          self->translated(name);
        }
        mark->end();
        self->enqueue(leg.session);
      }));
}

// Waits for a person, without anything that was made of it.
void Intake::State::hold(const journal::Leg& leg, const char* reason,
                         const std::shared_ptr<UnderWay>& mark) {
  static_cast<void>(world.journal.submit(
      held(leg, reason),
      [self = shared_from_this(), session = leg.session, mark](const auto& outcome) {
        mark->end();
        if (outcome) {
          self->enqueue(session);
        }
      }));
}

Intake::Intake(World world, std::vector<Target> targets,
               std::function<void(const std::string&)> translated)
    : state_(std::make_shared<State>(world, std::move(targets), std::move(translated))) {}

Intake::~Intake() = default;

void Intake::accept(Arrival arrival, Answered answered) {
  if (full()) {
    Answer answer = later(kBacklog);
    answer.pause = base::limits::kBacklogPause;
    answered(std::move(answer));
    return;
  }
  if (state_->in_hand >= base::limits::kIntakeMax) {
    answered(later(kBusy));
    return;
  }
  const std::string key = std::to_string(std::hash<std::string>()(arrival.body));
  auto reply = [ticket = counted(state_->in_hand), answered](Answer answer) {
    answered(std::move(answer));
  };
  const auto came = std::make_shared<const Arrival>(std::move(arrival));
  if (!state_->world.workers.run(key, [state = state_, came, reply] {
        answering(reply, [&] { state->judge(*came, reply); });
      })) {
    answered(later(kBusy));
  }
}

// What would become of it.
Answer Intake::State::try_out(const std::string& document, const std::string& now) const {
  const SessionCore& core = world.core;
  const therapy::Translator::Admission admission = core.admit(document);
  if (!admission.admitted) {
    return answer_of(422, fhir::to_operation_outcome(admission.issues));
  }
  const therapy::Revision revision{document, now};
  const therapy::Translation made = core.translate({&revision, 1});
  std::string out = "{\"verdict\":";
  out += made.verdict == therapy::Verdict::kReady ? "\"ready\"" : "\"held\"";
  out += ",\"reason\":\"" + made.hold_reason + "\",\"findings\":";
  out += made.findings.empty() ? "[]" : made.findings;
  out += ",\"outcome\":" + fhir::to_operation_outcome(made.issues) + "}";
  return answer_of(200, std::move(out));
}

void Intake::dry_run(std::string body, std::string now, Answered answered) {
  const std::string key = std::to_string(std::hash<std::string>()(body));
  const auto document = std::make_shared<std::string>(std::move(body));
  if (!state_->world.workers.run(key, [state = state_, document, now = std::move(now), answered] {
        answering(answered, [&] { answered(state->try_out(*document, now)); });
      })) {
    answered(later(kBusy));
  }
}

base::Result<Moving> Intake::plan_move(const std::string& session,
                                       const therapy::Move& wanted) const {
  return move_to_patient(state_->world.journal.store(), state_->world.core,
                         state_->world.search_key, session, wanted, state_->targets);
}

void Intake::State::count_backlog() {
  if (sweeps_until_count > 0) {
    --sweeps_until_count;
    return;
  }
  const auto counts = world.journal.store().open_counts();
  if (!counts) {
    return;  // a journal that cannot be read takes nothing in anyway
  }
  std::uint64_t open = 0;
  for (const journal::Store::Count& count : *counts) {
    // What waits for a target that is not configured grows no more, and nothing makes it less.
    const bool ours = std::find(names.begin(), names.end(), count.target) != names.end();
    open += count.state == journal::LegState::kHeld || !ours ? 0 : count.legs;
  }
  backlog = open;
  sweeps_until_count = open / base::limits::kBacklogCountStep;
}

bool Intake::full() const {
  return state_->backlog >= state_->world.backlog_max;
}

void Intake::sweep() {
  state_->count_backlog();
  const auto legs =
      state_->world.journal.store().untranslated(state_->names, base::limits::kIntakeMax);
  for (const journal::Leg& leg : legs ? *legs : std::vector<journal::Leg>()) {
    state_->enqueue(leg.session);
  }
}

}  // namespace engine::intake

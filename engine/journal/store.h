#pragma once
// What a journal is kept in. Two sides: commit(), called by one thread only, and the reads,
// callable from any thread. The log of records is the truth; sessions, revisions and legs are
// folded from it in the same transaction (state.h says how) and can be folded again.

#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/journal/record.h"
#include "engine/journal/seal.h"

namespace engine::journal {

enum class OpenMode : std::uint8_t {
  kEngine,   // makes the journal when it is new
  kCommand,  // appends beside engines; the journal must exist
  kRead,
  kCopy,  // as kEngine, but to restore() records of another journal
};

// State of a session's revision for one target.
enum class LegState : std::uint8_t {
  kAccepted = 1,    // waits to be translated
  kChecked = 2,     // waits to be sent
  kDispatched = 3,  // on its way
  kLanded = 4,
  kHeld = 5,
  kSuperseded = 6,  // a later revision carries all of it, and this one never landed
  kWithdrawn = 7,   // given up by a person
};
std::string_view name_of(LegState state);
std::optional<LegState> leg_state_of(std::string_view name);

struct Leg {
  std::string session;
  std::uint32_t revision = 0;
  std::string target;
  Position accepted = 0;  // its place in the order
  std::string patient;
  LegState state = LegState::kAccepted;
  std::string reason;          // of the last hold or failed try
  Position bundle = 0;         // the record that holds what to send; 0: none
  std::uint32_t attempts = 0;  // dispatched so often
  std::uint32_t failures = 0;  // of these, tries that count towards the bound
  std::int64_t due_ms = 0;
  Position changed = 0;    // the last record about it
  bool uncertain = false;  // the target may have taken it although no answer said so
};

// Whether the revisions after it have to reckon with it: it landed, may have landed, or may still
// be sent.
bool stands(const Leg& leg);
// It was given up, and may have landed all the same.
bool is_doubtful(const Leg& leg);

struct Acceptance {
  Position position = 0;
  std::uint32_t revision = 0;
  std::string content;
};

// One thing to write. An accepted record is judged when it is written: the same revision with the
// same content becomes `repeated`, with other content, or older than the latest, `conflicting`.
struct Change {
  Record record;
  std::vector<StoredPart> parts;
  // When set: written only while the leg named by the record is in this state, and was last changed
  // by this record.
  std::optional<LegState> only_if;
  std::optional<Position> only_if_changed;
  // Written only while the leg stands behind no other of its patient or session, and none of its
  // patient is on its way: several engines may have seen it due.
  bool only_if_first = false;
  // Of an accepted record: further targets, names separated by commas. Those that an earlier
  // revision went to get this one, too, lest they keep what it corrects.
  std::string also_if_before;
  // Of an accepted record: what its `content` would be in a record of before that was keyed. Who
  // has sent the same before such records were is answered as then.
  std::string plain_content;
  // Of a held record: it was established that nothing of the revision is at its target. Otherwise
  // one that may be there stays so, and the record says it.
  bool nothing_there = false;
  // Written only when the change before it in the batch was, which in turn is not written where
  // this one could not be.
  bool only_with_previous = false;
  // Of an expired record: what it removes is chosen when it is written, bodies of before this
  // instant, of so many records at most. (A shredded one takes all of its patient.) Where there are
  // none it is not written, unless it says by that time that somebody believes the clock.
  std::string destroy_before;
  std::size_t destroy_max = 0;
  bool even_nothing = false;
  Change() = default;
  explicit Change(Record r) : record(std::move(r)) {}
};

struct Outcome {
  enum class Verdict : std::uint8_t {
    kWritten,
    kRepeated,     // `position` is the earlier acceptance
    kConflicting,  // likewise, when the revision is known; 0 when it is merely older
    // A condition did not hold; nothing was written. Of a record that was to destroy something,
    // `record.reason` is the code of keeping.h that says why not.
    kNotNow,
  };
  Verdict verdict = Verdict::kWritten;
  Position position = 0;
  Record record;  // as written
};

struct Query {
  std::string session;
  std::string patient;
  std::string therapist;
  std::string target;
  std::optional<Kind> kind;
  std::string since;  // FHIR instants; since <= time < until
  std::string until;
  Position after = 0;
  std::size_t limit = 100;
  bool newest_first = false;
};

struct PartRow {
  Position position = 0;
  std::int64_t number = 0;  // its place in the record, from 0
  StoredPart part;
};

// A row of the tables of what was destroyed: a data key, or the parts of some records.
struct DestroyedRow {
  std::string key;  // its id; "" when it is about records
  Position first = 0;
  Position last = 0;
  Position record = 0;  // the one that destroyed it
};

// A record of one journal on its way into another.
struct CopiedRecord {
  std::string head;
  base::Digest leaf{};
  std::vector<StoredPart> parts;
  bool removed = false;  // its parts were, and a later record says so
};

// Under this name a journal into which another one is copied says so until it has all of it: until
// then nobody else writes into it.
inline constexpr std::string_view kCopying = "copying";

// The reasons of the two accepted records by which a session goes to another patient. For the one
// that was taken back nothing is taken in any more: what comes is conflicting, with this reason.
inline constexpr const char* kMovedAway = "moved-away";
inline constexpr const char* kMovedHere = "moved-here";

// The reason of a started record of a journal that several engines share: such a start says nothing
// about what is on its way.
inline constexpr const char* kSharedStart = "shared";

class Store {
 public:
  virtual ~Store() = default;

  // All or nothing, durable on return; an empty one is a try of the disk. Errors: kIo, kCorrupt.
  virtual base::Result<std::vector<Outcome>> commit(std::vector<Change>& batch,
                                                    const base::Clock& clock) = 0;
  // Appends records of another journal as they are, all or nothing, durable on return. Errors:
  // kConflict when they do not follow the last one, kCorrupt, kIo.
  virtual base::Result<void> restore(const std::vector<CopiedRecord>& records) = 0;

  // Of a journal that several engines share; otherwise "", always, nothing and never.
  // The name by which the others know this engine; dispatched records carry it.
  virtual std::string engine() const { return {}; }
  // Whether this engine is the one for the work of that name, which one engine is enough for. Two
  // may think so for some seconds, when one of them comes or goes.
  virtual bool mine(std::string_view work) const {
    static_cast<void>(work);
    return true;
  }
  // Whether this engine may begin a request: the others know, and will for as long as one may take,
  // that it lives, and take nothing over from it.
  virtual bool may_send() const { return true; }
  // Why the others do not hear of this engine just now.
  virtual std::string unheard() const { return {}; }
  // Dispatched legs whose engine has been silent for limits::kEngineLease, or is this one before it
  // ended.
  virtual base::Result<std::vector<Leg>> orphans() const { return std::vector<Leg>(); }
  // `told` runs, on a thread of the store's, after another engine wrote. Call it once.
  virtual void on_news(std::function<void()> told) { static_cast<void>(told); }

  // All who write must mean the same by `name`: the first value is kept, durable on return.
  // Errors: kConflict, kIo.
  virtual base::Result<void> agree(std::string_view name, std::string_view value) = 0;
  // Forgets it. Errors: kIo.
  virtual base::Result<void> retract(std::string_view name) = 0;
  // What was kept; "" when nothing was yet.
  virtual base::Result<std::string> agreed(std::string_view name) const = 0;

  // What its sealed parts are opened with; nullptr: nothing.
  virtual const Sealing* sealing() const = 0;
  virtual base::Result<std::vector<WrappedKey>> body_keys() const = 0;
  // Id of the master key that new data keys are wrapped under; "" when nothing was ever sealed.
  virtual base::Result<std::string> master() const = 0;
  // Puts another of the master keys given in force and wraps up to `limit` data keys under it that
  // are not yet. How many were. Errors: kConflict when one that is needed was not given.
  virtual base::Result<std::size_t> rewrap(std::string_view master, std::size_t limit) = 0;
  // Data keys of another journal, as they are there.
  virtual base::Result<void> restore_keys(const std::vector<WrappedKey>& keys,
                                          std::string_view master) = 0;
  // The record that had a part destroyed; nullopt when none had.
  virtual base::Result<std::optional<Position>> destroyed_by(Position position,
                                                             std::string_view name) const = 0;

  // All that the tables say was destroyed, each with the record that had it destroyed: the same
  // as the lists that those records hold, for looking up.
  virtual base::Result<std::vector<DestroyedRow>> destroyed_rows() const = 0;

  // The legal holds that stand, oldest first.
  virtual base::Result<std::vector<Record>> legal_holds() const = 0;

  virtual base::Result<Position> size() const = 0;
  virtual base::Result<std::string> head_text(Position position) const = 0;  // kNotFound
  // What was given to be kept. Errors: kNotFound for what the record never had and for what was
  // destroyed, saying when and by whom; kCorrupt for what is missing or was altered; kUnsupported
  // for a sealed part without its master key.
  virtual base::Result<std::string> part(Position position, std::string_view name) const = 0;
  // In order, until the visitor says false.
  virtual base::Result<void> scan(
      Position first,
      const std::function<bool(Position, std::string_view head, const base::Digest& leaf)>& visit)
      const = 0;
  virtual base::Result<void> scan_parts(Position first,
                                        const std::function<bool(const PartRow&)>& visit) const = 0;
  // A record whose head cannot be read is among those found when its search columns say so, as
  // Kind::kUnreadable with its position and nothing else: of any target.
  virtual base::Result<std::vector<Record>> search(const Query& query) const = 0;
  // The head of a record. Errors: kNotFound; kCorrupt, naming the record.
  base::Result<Head> head(Position position) const;
  // The newest readable record of a kind; nullopt when there is none.
  base::Result<std::optional<Record>> newest(Kind kind) const;

  virtual base::Result<std::vector<Leg>> legs(std::string_view session) const = 0;
  virtual base::Result<std::vector<Acceptance>> acceptances(std::string_view session) const = 0;
  // Legs of these targets that wait to be translated by this engine, oldest first. What waits for a
  // target that nobody is configured with waits for that, and does not stand before others.
  virtual base::Result<std::vector<Leg>> untranslated(std::span<const std::string> targets,
                                                      std::size_t limit) const = 0;
  // Legs that may be sent now: due, first of their patient with none of it on its way, behind no
  // unfinished revision of their session. Oldest first. Of a shared journal, this engine's share of
  // them, or when that is empty anybody's.
  virtual base::Result<std::vector<Leg>> due(std::string_view target, std::int64_t now_ms,
                                             std::size_t limit) const = 0;
  // The earliest time at which a leg becomes due; nullopt when none will by itself.
  virtual base::Result<std::optional<std::int64_t>> next_due(std::string_view target) const = 0;
  virtual base::Result<std::vector<Leg>> in_state(LegState state, std::size_t limit) const = 0;
  struct Count {
    std::string target;
    LegState state;
    std::uint64_t legs;
    Position oldest;  // the first acceptance of them
  };
  // Of the legs that have not ended.
  virtual base::Result<std::vector<Count>> open_counts() const = 0;
  // Folds the log again and compares: one sentence for each row that does not say what the log
  // says.
  virtual base::Result<std::vector<std::string>> check_fold(std::size_t limit) const = 0;
};

}  // namespace engine::journal

#pragma once
// One record of the journal, and its head: the text whose hash is the record's leaf in the tree.
// A head names everything about the record and the hash of each part's stored bytes, so that a part
// can be destroyed (its key thrown away) without breaking any proof. docs/formats/journal.md has
// the form.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/hash.h"
#include "engine/base/result.h"

namespace engine::journal {

using Position = std::uint64_t;  // 1, 2, 3 ... without gaps

enum class Kind : std::uint8_t {
  // In no head: what a search gives back for a record whose head cannot be read any more. Only its
  // position is known.
  kUnreadable = 0,
  kStarted = 1,      // an engine opened the journal for writing
  kRefused = 2,      // a body that was answered 4xx
  kAccepted = 3,     // a revision of a session, durable from here on
  kRepeated = 4,     // the same revision again, with the same content
  kConflicting = 5,  // the same or an older revision, with other content
  kChecked = 6,      // translated; the bundle may be sent
  kHeld = 7,         // waits for a person, or for the patient to become known
  kDispatched = 8,   // about to be sent
  kAnswered = 9,     // the target answered, or did not; will be tried again
  kLanded = 10,      // the target has it
  kReleased = 11,    // a person lets a held one go on
  kRemapped = 12,    // a person has a held one translated again
  kWithdrawn = 13,   // a person gives a held one up
  kRead = 14,        // somebody looked at what patients' records hold
  kStopped = 15,     // the engine ended in good order
  kApproved = 16,    // a person put a mapping set in force
  kPaused = 17,      // a person has nothing sent to a target until it is resumed
  kResumed = 18,     // a person lets it go on
  kNoticed = 19,     // senders have been told of the outcomes up to a record
  kHandedOut = 20,   // a therapist gave a patient the link of a sheet
  kLinkEnded = 21,   // and ended it before its time
  kShredded = 22,    // a person had the bodies of a patient made unreadable
  kExpired = 23,     // bodies were removed that are older than the site keeps them
  kRekeyed = 24,     // the keys of the bodies are wrapped under another master key
  kHold = 25,        // a legal hold: nothing of a patient is destroyed
  kHoldEnded = 26,   // `through` names the hold
  kSignedIn = 27,    // a person signed in
  kSignedOut = 28,   // and out again
  kNotLetIn = 29,    // somebody tried, with the name of a person or with nobody's
  kAlsoFor = 30,     // a revision goes to a target, too, that was not configured when it came
};
inline constexpr std::size_t kKinds = 30;
std::string_view name_of(Kind kind);
std::optional<Kind> kind_of(std::string_view name);

// Bytes kept with a record. `name`: document, bundle, outcome, answer.
struct Part {
  std::string name;
  std::string bytes;
  Part(std::string n, std::string b) : name(std::move(n)), bytes(std::move(b)) {}
};

// A part as it lies in the store.
struct StoredPart {
  std::string name;
  int codec = 0;      // see stored.h
  std::string bytes;  // as stored
  base::Digest hash{};
  bool too_large = false;  // over limits::kStoredBytesMax: bytes are empty, and it is never written
};

// What was known when the record was written. Empty members are not part of the head.
struct Record {
  Position position = 0;
  std::string time;  // FHIR instant, stamped by the journal
  Kind kind = Kind::kStarted;
  std::string session;  // session id (a UUID)
  std::uint32_t revision = 0;
  std::string target;
  std::string patient;    // keyed hash, see search_key.h
  std::string therapist;  // likewise
  // SHA-256 of the canonical document, hexadecimal; of a start what start_marks.h says.
  std::string content;
  std::string targets;    // of an accepted revision, and of a start: names, separated by commas
  std::string made_with;  // mapping, profile and settings sets, computation version, revisions used
  std::string reason;     // stable code: why held, refused, answered again
  std::string actor;      // who, for what a person did
  std::string why;        // in the person's words
  Position through = 0;   // noticed: the last record that was looked at; hold-ended: its hold
  int status = 0;         // HTTP status
  std::uint32_t attempt = 0;
  std::int64_t due_ms = 0;  // when it is tried next, milliseconds since 1970; 0: never by itself
  bool counted = false;     // the try counts towards the bounded number of tries
  bool unknown = false;     // the target may have taken it all the same
  // Held: not by this, but what was sent of the revision before may have been taken.
  bool still_unknown = false;
  // Withdrawn: this earlier revision, which the withdrawn one had superseded, is held again.
  std::uint32_t revived = 0;
  // What was made of the revived one counts no more: what it was made from may be another by now.
  bool revived_unmade = false;
  bool anew = false;  // later revisions, made to follow this one as it was, are made again
};

// Whether a record may be written. Errors: kInvalid for a control character or a text that is
// longer than limits::kHeadTextBytesMax (of a list, kHeadListBytesMax), kLimit for a part that is
// too large.
base::Result<void> check_writable(const Record& record, const std::vector<StoredPart>& parts);

// The text that is hashed. Errors: kInvalid when a member holds a control character.
base::Result<std::string> print_head(const Record& record, const std::vector<StoredPart>& parts,
                                     const base::Digest& previous);

struct Head {
  Record record;
  struct PartMark {
    std::string name;
    base::Digest hash{};
    std::size_t stored_bytes = 0;
    int codec = 0;
  };
  std::vector<PartMark> parts;
  base::Digest previous{};
};
// Errors: kCorrupt, naming the line.
base::Result<Head> parse_head(std::string_view text);
// Of the record at a place in the journal. Errors: kCorrupt, naming the record; also for the head
// of another one.
base::Result<Head> parse_head(std::string_view text, Position position);

// Hash of a record: its leaf in the tree (RFC 6962 section 2.1).
base::Digest leaf_hash(std::string_view head);
// What the first record names as its previous one.
base::Digest genesis();

std::optional<base::Digest> digest_from_hex(std::string_view hex);

}  // namespace engine::journal

#include "engine/journal/log_writer.h"

#include <algorithm>
#include <utility>

#include "engine/journal/body_keys.h"
#include "engine/journal/keeping.h"
#include "engine/journal/queries.h"
#include "engine/journal/state.h"
#include "engine/journal/stored.h"

namespace engine::journal {

using base::Error;
using base::ErrorCode;
using base::Result;

namespace {

// `known`: what was accepted of its session, by revision.
bool is_new(const Record& accepted, const std::vector<Acceptance>& known) {
  return known.empty() || known.back().revision < accepted.revision;
}

}  // namespace

Result<void> LogWriter::begin() {
  auto end = queries::end_of_log(connection_);
  if (!end) {
    return end.error();
  }
  last_ = end->position;
  last_leaf_ = end->leaf;
  last_time_ = std::move(end->time);
  return {};
}

Result<std::vector<Outcome>> LogWriter::write_all(const std::vector<Change>& batch,
                                                  const std::string& time) {
  std::vector<Outcome> done;
  done.reserve(batch.size());
  for (auto change = batch.begin(); change != batch.end(); ++change) {
    const bool left_alone = change->only_with_previous &&
                            (done.empty() || done.back().verdict != Outcome::Verdict::kWritten);
    const auto together =
        left_alone ? Result<bool>(false) : may_all_follow(change + 1, batch.end());
    if (!together) {
      return together.error();
    }
    if (!*together) {
      done.emplace_back();
      done.back().verdict = Outcome::Verdict::kNotNow;
      continue;
    }
    Result<Outcome> outcome = write(*change, time);
    if (!outcome) {
      return outcome.error();
    }
    done.push_back(std::move(*outcome));
  }
  return done;
}

// Whether those from here on that come only with what is before them would be written as they are.
Result<bool> LogWriter::may_all_follow(Changes::const_iterator change,
                                       Changes::const_iterator end) {
  Result<bool> may = true;
  for (; may && *may && change != end && change->only_with_previous; ++change) {
    may = holds(*change);
    if (may && *may && change->record.kind == Kind::kAccepted) {
      const auto known = queries::acceptances(connection_, change->record.session);
      const auto moved = known ? was_moved(*known) : known.error();
      may = moved ? Result<bool>(!*moved && is_new(change->record, *known)) : moved.error();
    }
  }
  return may;
}

Result<bool> LogWriter::holds(const Change& change) {
  if (change.only_if || change.only_if_changed) {
    const auto mark = queries::leg_mark(connection_, change.record);
    if (!mark) {
      return mark.error();
    }
    const bool as_seen = mark->has_value() &&
                         (*mark)->state == change.only_if.value_or((*mark)->state) &&
                         (*mark)->changed == change.only_if_changed.value_or((*mark)->changed);
    if (!as_seen) {
      return false;
    }
  }
  return change.only_if_first ? queries::is_first(connection_, change.record) : Result<bool>(true);
}

// Whether the last acceptance took the session back from a patient it was never about.
Result<bool> LogWriter::was_moved(const std::vector<Acceptance>& known) {
  if (known.empty()) {
    return false;
  }
  const Position last = known.back().position;
  const auto text = queries::head_text(connection_, last);
  const auto head = text ? parse_head(*text, last) : text.error();
  if (head || head.error().code != ErrorCode::kCorrupt) {
    return head ? Result<bool>(head->record.reason == kMovedAway) : head.error();
  }
  // It cannot be read any more. What else decides about the next revision (number and content)
  // stands in the tables, and that it was a move is told by the record behind it: the two
  // acceptances of a move are written together.
  const auto behind = queries::head_text(connection_, last + 1);
  const auto here = behind ? parse_head(*behind, last + 1) : Result<Head>(behind.error());
  return here && here->record.reason == kMovedHere;
}

// The record's targets, and those of `others` that have an earlier revision or still may get it.
Result<std::string> LogWriter::with_earlier_targets(const Record& record, std::string_view others) {
  const auto legs = queries::legs(connection_, record.session);
  if (!legs) {
    return legs.error();
  }
  std::string out = record.targets;
  while (!others.empty()) {
    const std::size_t comma = std::min(others.find(','), others.size());
    const std::string_view name = others.substr(0, comma);
    others.remove_prefix(std::min(comma + 1, others.size()));
    const bool has_earlier = std::any_of(legs->begin(), legs->end(), [&](const Leg& leg) {
      return leg.target == name && stands(leg);
    });
    if (has_earlier) {
      out += (out.empty() ? "" : ",") + std::string(name);
    }
  }
  return out;
}

// The revision that the withdrawn one had superseded and that is the last one without it; 0: none.
// Nobody gave it up, so it is held again also when the withdrawn one may have landed: what it is
// made of then finds other versions than it counts on, and is held for that.
Result<std::uint32_t> LogWriter::revived_by(const Record& withdrawn) {
  const auto legs = queries::legs(connection_, withdrawn.session);
  const auto known = legs ? queries::acceptances(connection_, withdrawn.session) : legs.error();
  const auto moved = known ? was_moved(*known) : known.error();
  if (!moved || *moved) {
    return moved ? Result<std::uint32_t>(0) : moved.error();
  }
  std::uint32_t superseded = 0;
  for (const Leg& leg : *legs) {  // by revision
    if (leg.target != withdrawn.target || leg.revision == withdrawn.revision) {
      continue;
    }
    if (leg.state == LegState::kSuperseded && leg.revision < withdrawn.revision) {
      superseded = leg.revision;
    } else if (stands(leg) && !is_doubtful(leg)) {
      superseded = 0;
    }
  }
  return superseded;
}

// What the record is to say of the leg and of others, as they stand now.
Result<void> LogWriter::say_what_follows(const Change& change, Record& record) {
  if (record.kind == Kind::kHeld && !record.unknown && !change.nothing_there) {
    const auto mark = queries::leg_mark(connection_, record);
    if (!mark) {
      return mark.error();
    }
    record.still_unknown = mark->has_value() && (*mark)->uncertain;
  }
  const bool settled = record.kind == Kind::kHeld && !record.unknown && !record.still_unknown;
  if (record.kind == Kind::kWithdrawn || record.kind == Kind::kRemapped || settled) {
    const auto later = state::has_followers(connection_, record);
    if (!later) {
      return later.error();
    }
    record.anew = *later;
  }
  if (record.kind == Kind::kWithdrawn) {
    const auto revived = revived_by(record);
    if (!revived) {
      return revived.error();
    }
    record.revived = *revived;
    record.revived_unmade = *revived != 0;
  }
  return {};
}

Result<Outcome> LogWriter::write(const Change& change, const std::string& time) {
  const auto holding = holds(change);
  if (!holding) {
    return holding.error();
  }
  if (!*holding) {
    Outcome outcome;
    outcome.verdict = Outcome::Verdict::kNotNow;
    return outcome;
  }
  Record record = change.record;
  if (destroys(record.kind)) {
    return write_destroying(change, time);
  }
  if (auto said = say_what_follows(change, record); !said) {
    return std::move(said).error();
  }
  if (record.kind != Kind::kAccepted) {
    return append(std::move(record), change.parts, time);
  }
  auto known = queries::acceptances(connection_, record.session);
  if (!known) {
    return known.error();
  }
  const auto same = std::find_if(known->begin(), known->end(), [&](const Acceptance& earlier) {
    return earlier.revision == record.revision;
  });
  const auto moved = was_moved(*known);
  if (!moved) {
    return moved.error();
  }
  if (!*moved && is_new(record, *known)) {
    if (!known->empty() && !change.also_if_before.empty()) {
      auto all = with_earlier_targets(record, change.also_if_before);
      if (!all) {
        return std::move(all).error();
      }
      record.targets = std::move(*all);
    }
    return append(std::move(record), change.parts, time);
  }
  const bool repeated =
      same != known->end() && (same->content == record.content ||
                               (!same->content.empty() && same->content == change.plain_content));
  record.kind = repeated ? Kind::kRepeated : Kind::kConflicting;
  record.targets.clear();
  record.reason = *moved && !repeated ? kMovedAway : "";
  Result<Outcome> outcome =
      append(std::move(record), repeated ? std::vector<StoredPart>() : change.parts, time);
  if (outcome) {
    outcome->verdict = repeated ? Outcome::Verdict::kRepeated : Outcome::Verdict::kConflicting;
    outcome->position = same != known->end() ? same->position : 0;
  }
  return outcome;
}

// What it takes is chosen here, where nobody else writes. The list is never packed: whoever
// verifies an export reads it with nothing but a text.
Result<Outcome> LogWriter::write_destroying(const Change& change, const std::string& time) {
  const Record& record = change.record;
  const auto taken =
      record.kind == Kind::kShredded
          ? keeping::of_patient(connection_, record.patient, record.reason == keeping::kEvenUnsent)
          : keeping::outdated(connection_, change.destroy_before, change.destroy_max);
  if (!taken) {
    return taken.error();
  }
  const bool even_so = change.even_nothing && taken->refused == keeping::kNothing;
  if (!taken->refused.empty() && !even_so) {
    Outcome outcome;
    outcome.verdict = Outcome::Verdict::kNotNow;
    outcome.record.reason = taken->refused;
    return outcome;
  }
  const Part list(std::string(kDestroyedPart), print(taken->what));
  return append(record, {to_stored_plain(list)}, time);
}

Result<Outcome> LogWriter::append(Record record, const std::vector<StoredPart>& parts,
                                  const std::string& time) {
  if (auto good = check_writable(record, parts); !good) {
    return good.error();
  }
  record.position = last_ + 1;
  record.time = time;
  const bool sealing = sealing_ != nullptr && !parts.empty() && !destroys(record.kind);
  auto shut = sealing ? sealed(record, parts) : Result<std::vector<StoredPart>>({});
  if (!shut) {
    return std::move(shut).error();
  }
  const std::vector<StoredPart>& kept = sealing ? *shut : parts;
  auto head = print_head(record, kept, last_leaf_);
  if (!head) {
    return head.error();
  }
  if (auto done = insert(record, *head, leaf_hash(*head), kept); !done) {
    return done.error();
  }
  Outcome outcome;
  outcome.position = record.position;
  outcome.record = std::move(record);
  return outcome;
}

Result<std::vector<StoredPart>> LogWriter::sealed(const Record& record,
                                                  const std::vector<StoredPart>& parts) {
  const auto key = body_keys::for_writing(connection_, *sealing_, body_keys::subject_of(record));
  if (!key) {
    return key.error();
  }
  std::vector<StoredPart> out;
  out.reserve(parts.size());
  for (const StoredPart& part : parts) {
    out.push_back(seal(part, record.position, *key, *sealing_->random));
  }
  return out;
}

Result<void> LogWriter::destroy(const Record& record, const std::vector<StoredPart>& parts) {
  for (const StoredPart& part : parts) {
    if (part.name == kDestroyedPart) {
      const auto text = from_stored(part.codec, part.bytes);
      const auto what = text ? parse_destruction(*text) : Result<Destruction>(text.error());
      return what ? body_keys::destroy(connection_, record.position, *what) : what.error();
    }
  }
  return {};
}

Result<void> LogWriter::insert(const Record& record, std::string_view head,
                               const base::Digest& leaf, const std::vector<StoredPart>& parts) {
  auto done = queries::insert_record(connection_, record, head, leaf);
  for (std::size_t i = 0; done && i < parts.size(); ++i) {
    done = queries::insert_part(connection_, record.position, i, parts[i]);
  }
  if (done) {
    done = state::apply(connection_, record);
  }
  if (done && destroys(record.kind)) {
    done = destroy(record, parts);
  }
  if (done) {
    last_ = record.position;
    last_leaf_ = leaf;
    last_time_ = record.time;
  }
  return done;
}

Result<void> LogWriter::take_over(const std::vector<CopiedRecord>& records) {
  for (const CopiedRecord& one : records) {
    const auto head = parse_head(one.head);
    const std::string where = "position " + std::to_string(last_ + 1);
    if (!head) {
      return Error(head.error().code, head.error().detail, where + ", " + head.error().where);
    }
    if (head->record.position != last_ + 1 || head->previous != last_leaf_) {
      return Error(ErrorCode::kConflict, "the record does not follow what the journal holds",
                   where);
    }
    const bool same_parts =
        (one.removed && one.parts.empty()) ||
        std::equal(head->parts.begin(), head->parts.end(), one.parts.begin(), one.parts.end(),
                   [](const Head::PartMark& mark, const StoredPart& part) {
                     return mark.name == part.name && mark.codec == part.codec &&
                            mark.stored_bytes == part.bytes.size() &&
                            mark.hash == base::sha256(part.bytes);
                   });
    if (leaf_hash(one.head) != one.leaf || !same_parts) {
      return Error(ErrorCode::kCorrupt, "the record's bytes do not hash to what it says", where);
    }
    if (auto done = insert(head->record, one.head, one.leaf, one.parts); !done) {
      return done;
    }
  }
  return {};
}

}  // namespace engine::journal

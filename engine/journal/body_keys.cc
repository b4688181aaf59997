#include "engine/journal/body_keys.h"

#include <utility>

#include "engine/base/aes_gcm.h"
#include "engine/base/check.h"
#include "engine/journal/queries.h"
#include "engine/journal/start_marks.h"
#include "engine/journal/stored.h"

namespace engine::journal::body_keys {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using sql::Run;

constexpr std::size_t kMonthChars = 7;  // "2026-03"

WrappedKey key_of(const Run& row) {
  WrappedKey key;
  key.id = std::string(row.blob_at(0));
  key.subject = std::string(row.text_at(1));
  key.master = std::string(row.text_at(2));
  key.wrapped = std::string(row.blob_at(3));
  return key;
}

// The rows that the run has left.
Result<std::vector<WrappedKey>> rows_of(Run& row) {
  std::vector<WrappedKey> out;
  while (true) {
    const auto stepped = row.step();
    if (!stepped) {
      return stepped.error();
    }
    if (!*stepped) {
      return out;
    }
    out.push_back(key_of(row));
  }
}

Result<std::optional<WrappedKey>> first_of(Run& row) {
  const auto stepped = row.step();
  if (!stepped) {
    return stepped.error();
  }
  return *stepped ? std::optional<WrappedKey>(key_of(row)) : std::nullopt;
}

Result<std::optional<Position>> position_of(Run& row) {
  const auto stepped = row.step();
  if (!stepped) {
    return stepped.error();
  }
  return *stepped ? std::optional<Position>(static_cast<Position>(row.number_at(0))) : std::nullopt;
}

Result<void> set_master(Connection& connection, std::string_view master) {
  return connection
      .run("INSERT INTO body_master VALUES(1, ?1) ON CONFLICT (one) DO UPDATE SET master = ?1")
      .text(master)
      .finish();
}

Result<void> insert(Connection& connection, const WrappedKey& key) {
  return connection
      .run(
          "INSERT INTO body_key VALUES(?1, ?2, ?3, ?4) ON CONFLICT (id) DO UPDATE SET master = "
          "?3, wrapped = ?4")
      .blob(key.id)
      .text(key.subject)
      .text(key.master)
      .blob(key.wrapped)
      .finish();
}

Error missing(const std::string& master, const Sealing* sealing) {
  std::string given;
  for (const std::string& id :
       sealing != nullptr ? sealing->masters.ids() : std::vector<std::string>()) {
    given += (given.empty() ? "" : ", ") + id;
  }
  return {ErrorCode::kConflict,
          "bodies of this journal are sealed under the master key " + master +
              (given.empty() ? "; give it (journal-key)" : ", and what was given is " + given)};
}

Result<bool> any_key(Connection& connection) {
  return connection.run("SELECT 1 FROM body_key LIMIT 1").step();
}

// As if the journal had never been sealed, whatever comes next would be kept in clear.
Error lost_master() {
  return {ErrorCode::kCorrupt,
          "bodies of this journal are sealed, and its table body_master does not say any more "
          "under which master key; bring the journal back from a backup"};
}

}  // namespace

Result<std::optional<WrappedKey>> find(Connection& connection, std::string_view id) {
  auto row = connection.run("SELECT id, subject, master, wrapped FROM body_key WHERE id = ?");
  row.blob(id);
  return first_of(row);
}

Result<std::vector<WrappedKey>> all(Connection& connection) {
  auto row = connection.run("SELECT id, subject, master, wrapped FROM body_key ORDER BY id");
  return rows_of(row);
}

Result<std::string> master(Connection& connection) {
  auto row = connection.run("SELECT master FROM body_master");
  const auto stepped = row.step();
  if (!stepped) {
    return stepped.error();
  }
  return *stepped ? std::string(row.text_at(0)) : std::string();
}

std::string subject_of(const Record& record) {
  return record.patient.empty() ? "month " + record.time.substr(0, kMonthChars) : record.patient;
}

Result<DataKey> for_writing(Connection& connection, const Sealing& sealing,
                            std::string_view subject) {
  auto row = connection.run("SELECT id, subject, master, wrapped FROM body_key WHERE subject = ?");
  row.text(subject);
  const auto known = first_of(row);
  if (!known) {
    return known.error();
  }
  if (*known) {
    return unwrap(**known, sealing.masters);
  }
  const auto in_force = master(connection);
  if (!in_force) {
    return in_force.error();
  }
  const std::string* const secret = sealing.masters.find(*in_force);
  if (secret == nullptr) {
    return missing(*in_force, &sealing);
  }
  DataKey key(random_bytes(*sealing.random, kKeyIdBytes),
              random_bytes(*sealing.random, base::kAesKeyBytes));
  if (auto kept = insert(connection, wrap(key, subject, *secret, *sealing.random)); !kept) {
    return kept.error();
  }
  return key;
}

Result<void> agree(Connection& connection, const Sealing* sealing, bool first) {
  const auto in_force = master(connection);
  if (!in_force) {
    return in_force.error();
  }
  if (in_force->empty()) {
    const auto keys = any_key(connection);
    // Whoever takes the row out can take the keys out, too; the starts say what there was.
    const auto marks = keys && !*keys ? newest_start_marks(connection)
                                      : base::Result<std::optional<StartMarks>>(std::nullopt);
    if (!keys || !marks) {
      return keys ? marks.error() : keys.error();
    }
    if (*keys || (*marks && !(*marks)->master.empty())) {
      return lost_master();
    }
    return sealing != nullptr && first ? set_master(connection, sealing->masters.ids().front())
                                       : Result<void>();
  }
  if (sealing == nullptr || sealing->masters.find(*in_force) == nullptr) {
    return missing(*in_force, sealing);
  }
  // Of an exchange of master keys that was not finished.
  auto row = connection.run("SELECT DISTINCT master FROM body_key");
  while (true) {
    const auto stepped = row.step();
    if (!stepped) {
      return stepped.error();
    }
    if (!*stepped) {
      return {};
    }
    const std::string needed(row.text_at(0));
    if (sealing->masters.find(needed) == nullptr) {
      return missing(needed, sealing);
    }
  }
}

Result<bool> shut(Connection& connection, const Sealing* sealing) {
  const auto in_force = sealing == nullptr ? master(connection) : Result<std::string>("");
  if (!in_force || sealing != nullptr || !in_force->empty()) {
    return in_force ? Result<bool>(sealing == nullptr) : in_force.error();
  }
  return any_key(connection);
}

Result<void> check_bodies(const std::vector<Change>& batch, bool shut) {
  for (const Change& change : batch) {
    if (shut && !change.parts.empty()) {
      return Error(ErrorCode::kUnsupported,
                   "bodies of this journal are sealed; give its master key (--journal-key FILE)");
    }
  }
  return {};
}

Result<std::size_t> rewrap(Connection& connection, const Sealing& sealing, std::string_view master,
                           std::size_t limit) {
  const std::string* const secret = sealing.masters.find(master);
  ENGINE_CHECK(secret != nullptr);
  if (auto set = set_master(connection, master); !set) {
    return set.error();
  }
  auto row = connection.run(
      "SELECT id, subject, master, wrapped FROM body_key WHERE master <> ? ORDER BY id LIMIT ?");
  row.text(master).number(static_cast<std::int64_t>(limit));
  const auto others = rows_of(row);
  if (!others) {
    return others.error();
  }
  for (const WrappedKey& other : *others) {
    const auto key = unwrap(other, sealing.masters);
    if (!key) {
      return key.error().code == ErrorCode::kUnsupported ? missing(other.master, &sealing)
                                                         : key.error();
    }
    const WrappedKey again = wrap(*key, other.subject, *secret, *sealing.random);
    if (auto kept = insert(connection, again); !kept) {
      return kept.error();
    }
  }
  return others->size();
}

Result<void> restore(Connection& connection, const std::vector<WrappedKey>& keys,
                     std::string_view master) {
  auto done = master.empty() ? Result<void>() : set_master(connection, master);
  for (std::size_t i = 0; done && i < keys.size(); ++i) {
    done = insert(connection, keys[i]);
  }
  return done;
}

Result<void> destroy(Connection& connection, Position record, const Destruction& what) {
  Result<void> done;
  const auto number = [](Position position) { return static_cast<std::int64_t>(position); };
  for (std::size_t i = 0; done && i < what.keys.size(); ++i) {
    done = connection.run("DELETE FROM body_key WHERE id = ?").blob(what.keys[i]).finish();
    if (done) {
      done = connection.run("INSERT INTO destroyed_key VALUES(?, ?)")
                 .blob(what.keys[i])
                 .number(number(record))
                 .finish();
    }
  }
  for (std::size_t i = 0; done && i < what.records.size(); ++i) {
    const Span& span = what.records[i];
    done = connection.run("DELETE FROM part WHERE position >= ? AND position <= ?")
               .number(number(span.first))
               .number(number(span.last))
               .finish();
    if (done) {
      done = connection.run("INSERT INTO destroyed_part VALUES(?, ?, ?)")
                 .number(number(span.first))
                 .number(number(span.last))
                 .number(number(record))
                 .finish();
    }
  }
  return done;
}

Result<std::vector<DestroyedRow>> destroyed_rows(Connection& connection) {
  std::vector<DestroyedRow> out;
  auto keys = connection.run("SELECT id, record FROM destroyed_key ORDER BY id");
  while (true) {
    const auto stepped = keys.step();
    if (!stepped) {
      return stepped.error();
    }
    if (!*stepped) {
      break;
    }
    DestroyedRow row;
    row.key = std::string(keys.blob_at(0));
    row.record = static_cast<Position>(keys.number_at(1));
    out.push_back(std::move(row));
  }
  auto parts = connection.run("SELECT first, last, record FROM destroyed_part ORDER BY first");
  while (true) {
    const auto stepped = parts.step();
    if (!stepped) {
      return stepped.error();
    }
    if (!*stepped) {
      return out;
    }
    DestroyedRow row;
    row.first = static_cast<Position>(parts.number_at(0));
    row.last = static_cast<Position>(parts.number_at(1));
    row.record = static_cast<Position>(parts.number_at(2));
    out.push_back(std::move(row));
  }
}

Result<std::optional<Position>> destroyed_by(Connection& connection, Position position,
                                             std::string_view name) {
  auto part = connection.run("SELECT codec, bytes FROM part WHERE position = ? AND name = ?");
  part.number(static_cast<std::int64_t>(position)).text(name);
  const auto there = part.step();
  if (!there) {
    return there.error();
  }
  if (!*there) {
    auto row = connection.run(
        "SELECT record FROM destroyed_part WHERE first <= ?1 AND last >= ?1 ORDER BY first DESC "
        "LIMIT 1");
    row.number(static_cast<std::int64_t>(position));
    return position_of(row);
  }
  if (!is_sealed(static_cast<int>(part.number_at(0)))) {
    return std::optional<Position>();
  }
  const auto id = key_id_of(part.blob_at(1));
  if (!id) {
    return std::optional<Position>();
  }
  auto row = connection.run("SELECT record FROM destroyed_key WHERE id = ?");
  row.blob(*id);
  return position_of(row);
}

Result<StoredPart> open_part(Connection& connection, const Sealing* sealing, Position position,
                             const StoredPart& part) {
  const auto id = key_id_of(part.bytes);
  if (!id) {
    return id.error();
  }
  const auto wrapped = find(connection, *id);
  if (!wrapped) {
    return wrapped.error();
  }
  if (!*wrapped) {
    const auto record = destroyed_by(connection, position, part.name);
    if (!record) {
      return record.error();
    }
    return *record ? destroyed_error(connection, **record)
                   : Error(ErrorCode::kCorrupt,
                           "the key of a sealed part is missing, and no record says that it was "
                           "destroyed",
                           "record " + std::to_string(position) + ", part " + part.name);
  }
  if (sealing == nullptr) {
    return Error(ErrorCode::kUnsupported,
                 "the part is sealed; give the master key of the journal (--journal-key FILE)",
                 "record " + std::to_string(position) + ", part " + part.name);
  }
  const auto key = unwrap(**wrapped, sealing->masters);
  if (!key) {
    return key.error();
  }
  auto opened = open(part, position, *key);
  if (!opened) {
    return Error(opened.error().code, opened.error().detail,
                 "record " + std::to_string(position) + ", part " + part.name);
  }
  return opened;
}

Error destroyed_error(Connection& connection, Position record) {
  const auto text = queries::head_text(connection, record);
  const auto head = text ? parse_head(*text, record) : Result<Head>(text.error());
  if (!head) {
    return {ErrorCode::kNotFound, "it was destroyed; record " + std::to_string(record) +
                                      ", which says when and why, cannot be read"};
  }
  const Record& by = head->record;
  return {ErrorCode::kNotFound, "it was destroyed on " + by.time.substr(0, 10) +
                                    (by.actor.empty() ? "" : " by " + by.actor) + "; record " +
                                    std::to_string(record) + " says why"};
}

}  // namespace engine::journal::body_keys

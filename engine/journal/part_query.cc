// A part as it was given to be kept, or why it cannot be had.

#include <algorithm>
#include <string>

#include "engine/journal/body_keys.h"
#include "engine/journal/queries.h"
#include "engine/journal/stored.h"

namespace engine::journal::queries {
namespace {

std::string where_is(Position position, std::string_view name) {
  return "position " + std::to_string(position) + ", " + std::string(name);
}

// What the record's head says of the part; kNotFound when it says nothing.
base::Result<Head::PartMark> mark_of(Connection& connection, Position position,
                                     std::string_view name) {
  const auto text = head_text(connection, position);
  if (!text) {
    return text.error();
  }
  const auto head = parse_head(*text, position);
  if (!head) {
    return head.error();
  }
  const auto mark = std::find_if(head->parts.begin(), head->parts.end(),
                                 [&](const auto& one) { return one.name == name; });
  if (mark == head->parts.end()) {
    return base::Error(base::ErrorCode::kNotFound, "the record has no such part",
                       where_is(position, name));
  }
  return *mark;
}

// Of a part that is not there: destroyed, lost, or none that the record ever had.
base::Error absent(Connection& connection, Position position, std::string_view name) {
  const auto record = body_keys::destroyed_by(connection, position, name);
  if (!record) {
    return record.error();
  }
  const auto mark = mark_of(connection, position, name);
  if (!mark) {
    return mark.error();
  }
  return *record ? body_keys::destroyed_error(connection, **record)
                 : base::Error(base::ErrorCode::kCorrupt, "the part is missing",
                               where_is(position, name));
}

// A disk that gives back other bytes than it was given says nothing of it, and what is read here
// goes into a chart.
base::Result<void> check_stored(Connection& connection, Position position, std::string_view name,
                                int codec, std::string_view bytes) {
  const auto mark = mark_of(connection, position, name);
  if (!mark && mark.error().code != base::ErrorCode::kNotFound) {
    return mark.error();
  }
  if (!mark || mark->codec != codec || mark->stored_bytes != bytes.size() ||
      mark->hash != base::sha256(bytes)) {
    return base::Error(base::ErrorCode::kCorrupt,
                       "the part is not what the record's head says of it",
                       where_is(position, name));
  }
  return {};
}

}  // namespace

base::Result<std::string> part(Connection& connection, const Sealing* sealing, Position position,
                               std::string_view name) {
  StoredPart stored;
  {
    auto row = connection.run("SELECT codec, bytes FROM part WHERE position = ? AND name = ?");
    row.number(static_cast<std::int64_t>(position)).text(name);
    const auto stepped = row.step();
    if (!stepped) {
      return stepped.error();
    }
    if (*stepped) {
      stored.name = std::string(name);
      stored.codec = static_cast<int>(row.number_at(0));
      stored.bytes = std::string(row.blob_at(1));
    }
  }
  if (stored.name.empty()) {
    return absent(connection, position, name);
  }
  if (auto checked = check_stored(connection, position, name, stored.codec, stored.bytes);
      !checked) {
    return std::move(checked).error();
  }
  if (!is_sealed(stored.codec)) {
    return from_stored(stored.codec, stored.bytes);
  }
  const auto opened = body_keys::open_part(connection, sealing, position, stored);
  return opened ? from_stored(opened->codec, opened->bytes) : opened.error();
}

}  // namespace engine::journal::queries

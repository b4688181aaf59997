// A part as it was given to be kept, or why it cannot be had.

#include <algorithm>
#include <string>

#include "engine/journal/body_keys.h"
#include "engine/journal/queries.h"
#include "engine/journal/stored.h"

namespace engine::journal::queries {
namespace {

// Of a part that is not there: destroyed, lost, or none that the record ever had.
base::Error absent(Connection& connection, Position position, std::string_view name) {
  const std::string where = "position " + std::to_string(position) + ", " + std::string(name);
  const auto record = body_keys::destroyed_by(connection, position, name);
  const auto text = head_text(connection, position);
  if (!record || !text) {
    return record ? text.error() : record.error();
  }
  const auto head = parse_head(*text, position);
  const bool named = head && std::any_of(head->parts.begin(), head->parts.end(),
                                         [&](const auto& mark) { return mark.name == name; });
  if (!named) {
    return head ? base::Error(base::ErrorCode::kNotFound, "the record has no such part", where)
                : head.error();
  }
  return *record ? body_keys::destroyed_error(connection, **record)
                 : base::Error(base::ErrorCode::kCorrupt, "the part is missing", where);
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
      if (!is_sealed(stored.codec)) {
        return from_stored(stored.codec, row.blob_at(1));
      }
      stored.bytes = std::string(row.blob_at(1));
    }
  }
  if (stored.name.empty()) {
    return absent(connection, position, name);
  }
  const auto opened = body_keys::open_part(connection, sealing, position, stored);
  return opened ? from_stored(opened->codec, opened->bytes) : opened.error();
}

}  // namespace engine::journal::queries

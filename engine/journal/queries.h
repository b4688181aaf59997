#pragma once
// The statements of the stores, each a function.

#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "engine/journal/sql.h"
#include "engine/journal/store.h"

namespace engine::journal::queries {

using sql::Connection;

struct End {
  Position position = 0;
  base::Digest leaf{};
  std::string time;
};
base::Result<End> end_of_log(Connection& connection);

base::Result<void> insert_record(Connection& connection, const Record& record,
                                 std::string_view head, const base::Digest& leaf);
base::Result<void> insert_part(Connection& connection, Position position, std::size_t number,
                               const StoredPart& part);

// As Store::agree() and agreed(). The table must be there.
base::Result<void> agree(Connection& connection, std::string_view name, std::string_view value);
base::Result<std::string> agreed(Connection& connection, std::string_view name);
base::Result<void> retract(Connection& connection, std::string_view name);
// Errors: kConflict while another journal is being copied into this one (kCopying).
base::Result<void> check_copied(Connection& connection);

base::Result<Position> size(Connection& connection);
base::Result<std::string> head_text(Connection& connection, Position position);
// Errors: those of Store::part().
base::Result<std::string> part(Connection& connection, const Sealing* sealing, Position position,
                               std::string_view name);
base::Result<void> scan(
    Connection& connection, Position first,
    const std::function<bool(Position, std::string_view, const base::Digest&)>& visit);
base::Result<void> scan_parts(Connection& connection, Position first,
                              const std::function<bool(const PartRow&)>& visit);
base::Result<std::vector<Record>> search(Connection& connection, const Query& query);

struct LegMark {
  LegState state;
  Position changed;
  bool uncertain;
};
base::Result<std::optional<LegMark>> leg_mark(Connection& connection, const Record& record);
// Whether a leg that was due when somebody looked may be sent now.
base::Result<bool> is_first(Connection& connection, const Record& record);
base::Result<std::vector<Leg>> legs(Connection& connection, std::string_view session);
base::Result<std::vector<Acceptance>> acceptances(Connection& connection, std::string_view session);
base::Result<std::vector<Leg>> due(Connection& connection, std::string_view target,
                                   std::int64_t now_ms, std::size_t limit);
base::Result<std::optional<std::int64_t>> next_due(Connection& connection, std::string_view target);
base::Result<std::vector<Leg>> in_state(Connection& connection, LegState state, std::size_t limit);
// Accepted ones of these targets, oldest first.
base::Result<std::vector<Leg>> untranslated(Connection& connection,
                                            std::span<const std::string> targets,
                                            std::size_t limit);
base::Result<std::vector<Store::Count>> open_counts(Connection& connection);
// Folds the records of `log` into the empty tables of `again` and names what differs.
base::Result<std::vector<std::string>> compare_with_fold(Connection& log, Connection& again,
                                                         std::size_t limit);

}  // namespace engine::journal::queries

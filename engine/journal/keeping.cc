#include "engine/journal/keeping.h"

#include <algorithm>
#include <set>
#include <utility>

namespace engine::journal::keeping {
namespace {

using base::Result;
using sql::Connection;

// As the LIMIT below says.
constexpr int kPage = 500;

// Runs until there are no more rows, or `each` says false.
template <class Each>
Result<void> for_rows(sql::Run& row, const Each& each) {
  while (true) {
    const auto stepped = row.step();
    if (!stepped) {
      return stepped.error();
    }
    if (!*stepped || !each()) {
      return {};
    }
  }
}

Result<bool> any(sql::Run row) {
  return row.step();
}

std::set<std::string> patients_of(const std::vector<Record>& holds) {
  std::set<std::string> out;
  for (const Record& hold : holds) {
    out.insert(hold.patient);
  }
  return out;
}

struct Candidate {
  Position position = 0;
  bool blocked = false;
  std::string session;
  std::string patient;
};

// Records with parts, those that must be kept among them. A session's bodies go together: a later
// revision is translated with the earlier ones.
Result<std::vector<Candidate>> candidates(Connection& connection, Position after, Position last,
                                          std::string_view cutoff) {
  auto row = connection.run(
      "SELECT DISTINCT part.position, CASE WHEN record.kind = 22 OR record.kind = 23 OR "
      "record.time "
      ">= ?3 OR EXISTS (SELECT 1 FROM leg WHERE leg.session = record.session AND leg.state IN (1, "
      "2, 3, 5)) OR EXISTS (SELECT 1 FROM record AS later WHERE later.session = record.session AND "
      "later.time >= ?3 AND later.kind <> 14) THEN record.kind ELSE 0 END, record.session, "
      "record.patient FROM part JOIN record ON record.position = part.position WHERE part.position "
      "> ?1 AND part.position <= ?2 ORDER BY part.position LIMIT 500");
  row.number(static_cast<std::int64_t>(after)).number(static_cast<std::int64_t>(last)).text(cutoff);
  std::vector<Candidate> out;
  auto done = for_rows(row, [&] {
    Candidate one;
    one.position = static_cast<Position>(row.number_at(0));
    one.blocked = row.number_at(1) != 0;
    one.session = row.null_at(2) ? std::string() : std::string(row.text_at(2));
    one.patient = row.null_at(3) ? std::string() : std::string(row.text_at(3));
    out.push_back(std::move(one));
    return true;
  });
  return done ? Result<std::vector<Candidate>>(std::move(out)) : done.error();
}

// Whether one of the patients that `row` gives is among those on hold.
Result<bool> any_on_hold(sql::Run row, const std::set<std::string>& patients) {
  bool held = false;
  auto done = for_rows(row, [&] {
    held = patients.count(std::string(row.text_at(0))) > 0;
    return !held;
  });
  return done ? Result<bool>(held) : done.error();
}

// Of a session that was about several patients, each counts.
Result<bool> on_hold(Connection& connection, const Candidate& one,
                     const std::set<std::string>& patients) {
  if (patients.empty() || patients.count(one.patient) > 0) {
    return !patients.empty();
  }
  auto row = connection.run("SELECT DISTINCT patient FROM leg WHERE session = ?");
  row.text(one.session);
  return any_on_hold(std::move(row), patients);
}

// Likewise: what was first said of the one is needed to take back or correct what is the other's.
Result<bool> on_hold(Connection& connection, std::string_view patient,
                     const std::set<std::string>& patients) {
  if (patients.empty() || patients.count(std::string(patient)) > 0) {
    return !patients.empty();
  }
  auto row = connection.run(
      "SELECT DISTINCT leg.patient FROM record JOIN leg ON leg.session = record.session WHERE "
      "record.patient = ?");
  row.text(patient);
  return any_on_hold(std::move(row), patients);
}

// A position that no younger record stands before, but for a clock that was set back.
Result<Position> newest_before(Connection& connection, std::string_view cutoff) {
  auto row =
      connection.run("SELECT position FROM record WHERE time < ? ORDER BY time DESC LIMIT 1");
  row.text(cutoff);
  const auto stepped = row.step();
  if (!stepped) {
    return stepped.error();
  }
  return *stepped ? static_cast<Position>(row.number_at(0)) : Position{0};
}

}  // namespace

Result<std::vector<Record>> holds(Connection& connection) {
  auto row = connection.run(
      "SELECT head, position, kind, patient, time FROM record WHERE kind > 21 AND kind < 27 AND "
      "kind IN (25, 26) ORDER BY position");
  std::vector<Record> out;
  Result<void> readable;
  auto done = for_rows(row, [&] {
    const auto position = static_cast<Position>(row.number_at(1));
    auto head = parse_head(row.text_at(0), position);
    if (!head) {
      // Whatever can be a hold protects: of one the search column says whom, and which one an end
      // was about nobody knows.
      if (row.number_at(2) == static_cast<std::int64_t>(Kind::kHold)) {
        Record hold;
        hold.kind = Kind::kHold;
        hold.position = position;
        hold.patient = row.null_at(3) ? std::string() : std::string(row.text_at(3));
        hold.time = std::string(row.text_at(4));
        hold.why = "this record cannot be read; journal verify says more";
        readable = hold.patient.empty() ? Result<void>(head.error()) : readable;
        out.push_back(std::move(hold));
      }
      return readable.has_value();
    }
    if (head->record.kind == Kind::kHold) {
      out.push_back(std::move(head->record));
    } else {
      std::erase_if(out, [&](const Record& hold) { return hold.position == head->record.through; });
    }
    return true;
  });
  if (!done || !readable) {
    return done ? readable.error() : done.error();
  }
  return out;
}

Result<Taken> of_patient(Connection& connection, std::string_view patient, bool even_unsent) {
  const auto standing = holds(connection);
  if (!standing) {
    return standing.error();
  }
  Taken out;
  const auto held = on_hold(connection, patient, patients_of(*standing));
  if (!held || *held) {
    out.refused = kOnHold;
    return held ? Result<Taken>(std::move(out)) : held.error();
  }
  if (!even_unsent) {
    auto row = connection.run("SELECT 1 FROM leg WHERE patient = ? AND state IN (1, 2, 3, 5)");
    row.text(patient);
    const auto unsent = any(std::move(row));
    if (!unsent || *unsent) {
      out.refused = kUnsent;
      return unsent ? Result<Taken>(std::move(out)) : unsent.error();
    }
  }
  auto key = connection.run("SELECT id FROM body_key WHERE subject = ?");
  key.text(patient);
  auto done = for_rows(key, [&] {
    out.what.keys.emplace_back(key.blob_at(0));
    return true;
  });
  auto row = connection.run(
      "SELECT DISTINCT part.position FROM record JOIN part ON part.position = record.position "
      "WHERE record.patient = ? AND part.codec < 2 AND record.kind <> 22 ORDER BY part.position");
  row.text(patient);
  if (done) {
    done = for_rows(row, [&] {
      const auto position = static_cast<Position>(row.number_at(0));
      auto& spans = out.what.records;
      if (!spans.empty() && spans.back().last + 1 == position) {
        spans.back().last = position;
      } else {
        spans.push_back({position, position});
      }
      return true;
    });
  }
  out.refused = out.what.empty() ? kNothing : "";
  return done ? Result<Taken>(std::move(out)) : done.error();
}

Result<Taken> outdated(Connection& connection, std::string_view cutoff, std::size_t records) {
  const auto standing = holds(connection);
  const auto last = newest_before(connection, cutoff);
  if (!standing || !last) {
    return standing ? last.error() : standing.error();
  }
  const std::set<std::string> patients = patients_of(*standing);
  Taken out;
  std::size_t count = 0;
  Position after = 0;
  bool joined = false;  // nothing that is kept lies between the last span and here
  for (std::size_t rows = kPage; rows == kPage && count < records;) {
    const auto page = candidates(connection, after, *last, cutoff);
    if (!page) {
      return page.error();
    }
    rows = page->size();
    for (std::size_t i = 0; i < page->size() && count < records; ++i) {
      const Candidate& one = (*page)[i];
      after = one.position;
      const auto held = one.blocked ? Result<bool>(true) : on_hold(connection, one, patients);
      if (!held) {
        return held.error();
      }
      if (*held) {
        joined = false;
        continue;
      }
      if (joined) {
        out.what.records.back().last = one.position;
      } else {
        out.what.records.push_back({one.position, one.position});
      }
      joined = true;
      ++count;
    }
  }
  out.refused = out.what.empty() ? kNothing : "";
  return out;
}

}  // namespace engine::journal::keeping

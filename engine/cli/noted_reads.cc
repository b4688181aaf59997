#include "engine/cli/noted_reads.h"

#include <algorithm>
#include <cstdio>
#include <set>
#include <utility>

#include "engine/base/limits.h"
#include "engine/cli/system_seams.h"
#include "engine/journal/words.h"

namespace engine::cli {

using base::Result;

Result<void> note_looks(journal::Store& store, const Reader& reader,
                        const std::vector<Look>& looks) {
  if (auto good = journal::check_line(reader.why); !good) {
    return good;
  }
  if (!reader.why.empty() && !journal::says_something(reader.why)) {
    return base::Error(base::ErrorCode::kInvalid, "say why you look; it is kept");
  }
  const SystemClock clock;
  std::vector<journal::Change> batch;
  for (std::size_t done = 0; done < looks.size();) {
    const std::size_t end = std::min(done + base::limits::kCopyGroupMax, looks.size());
    batch.clear();
    for (; done < end; ++done) {
      journal::Record& record = batch.emplace_back().record;
      record.kind = journal::Kind::kRead;
      record.session = looks[done].session;
      record.revision = looks[done].revision;
      record.patient = looks[done].patient;
      record.therapist = looks[done].therapist;
      record.reason = looks[done].what;
      record.actor = reader.actor;
      record.why = reader.why;
    }
    if (auto written = store.commit(batch, clock); !written) {
      return std::move(written).error();
    }
  }
  return {};
}

Result<Look> look_at(const journal::Store& store, journal::Position position, std::string what) {
  const auto text = store.head_text(position);
  const auto head = text ? journal::parse_head(*text) : Result<journal::Head>(text.error());
  if (!head) {
    return head.error();
  }
  const journal::Record& record = head->record;
  return Look{std::move(what), record.session, record.revision, record.patient, ""};
}

Result<std::vector<Look>> looks_at(const journal::Store& store, journal::Query query,
                                   journal::Position through, const std::string& what) {
  std::set<std::string> patients;
  query.limit = base::limits::kEventsCatchUpMax;
  for (bool more = true; more;) {
    const auto records = store.search(query);
    if (!records) {
      return records.error();
    }
    for (const journal::Record& record : *records) {
      if (record.position <= through && !record.patient.empty()) {
        patients.insert(record.patient);
      }
    }
    more = records->size() == query.limit && records->back().position < through;
    query.after = records->empty() ? query.after : records->back().position;
  }
  std::vector<Look> looks;
  for (const std::string& patient : patients) {
    looks.push_back({what, query.session, 0, patient, ""});
  }
  if (looks.empty()) {
    looks.push_back({what, query.session, 0, query.patient, ""});
  }
  return looks;
}

Result<bool> is_a_stranger(const journal::Store& store, const std::string& patient) {
  journal::Query query;
  query.patient = patient;
  query.kind = journal::Kind::kAccepted;
  query.limit = 1;
  const auto found = store.search(query);
  return found ? Result<bool>(found->empty()) : found.error();
}

Result<void> remark_a_stranger(const journal::Store& store, const std::string& patient) {
  const auto stranger = patient.empty() ? Result<bool>(false) : is_a_stranger(store, patient);
  if (stranger && *stranger) {
    std::fprintf(stderr,
                 "chartferry journal: this journal has no session of this patient: look whether "
                 "system, value and --key are right\n");
  }
  return stranger ? Result<void>() : stranger.error();
}

}  // namespace engine::cli

#pragma once
// Writes changes into a store's tables, within a transaction that the store has begun and ends:
// judges each, gives it its position and its place in the tree, and folds it.

#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/sql.h"
#include "engine/journal/store.h"

namespace engine::journal {

class LogWriter {
 public:
  // The transaction must keep all other writers out from here on.
  // `sealing`: null when bodies are kept as they are.
  LogWriter(sql::Connection& connection, const Sealing* sealing)
      : connection_(connection), sealing_(sealing) {}

  // Before everything else: where the log ends. Errors: kIo.
  base::Result<void> begin();
  // The time of the last record; "" when there is none.
  const std::string& last_time() const { return last_time_; }
  base::Result<std::vector<Outcome>> write_all(const std::vector<Change>& batch,
                                               const std::string& time);
  // Records of another journal, as they are. Errors: kConflict when they do not follow what is
  // here, kCorrupt when their bytes are not what they say.
  base::Result<void> take_over(const std::vector<CopiedRecord>& records);
  sql::Connection& connection() { return connection_; }

 private:
  base::Result<Outcome> write(const Change& change, const std::string& time);
  base::Result<Outcome> write_destroying(const Change& change, const std::string& time);
  base::Result<Outcome> append(Record record, const std::vector<StoredPart>& parts,
                               const std::string& time);
  base::Result<std::vector<StoredPart>> sealed(const Record& record,
                                               const std::vector<StoredPart>& parts);
  base::Result<void> destroy(const Record& record, const std::vector<StoredPart>& parts);
  base::Result<void> insert(const Record& record, std::string_view head, const base::Digest& leaf,
                            const std::vector<StoredPart>& parts);
  using Changes = std::vector<Change>;
  base::Result<bool> may_all_follow(Changes::const_iterator change, Changes::const_iterator end);
  base::Result<bool> holds(const Change& change);
  base::Result<std::string> with_earlier_targets(const Record& record, std::string_view others);
  base::Result<std::uint32_t> revived_by(const Record& withdrawn);
  base::Result<void> say_what_follows(const Change& change, Record& record);
  base::Result<bool> was_moved(const std::vector<Acceptance>& known);

  sql::Connection& connection_;
  const Sealing* const sealing_;
  Position last_ = 0;
  base::Digest last_leaf_{};
  std::string last_time_;
};

}  // namespace engine::journal

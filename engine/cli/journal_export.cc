#include "engine/cli/journal_export.h"

#include <algorithm>
#include <map>
#include <set>
#include <utility>
#include <vector>

#include "engine/base/hash.h"
#include "engine/base/limits.h"
#include "engine/cli/files.h"
#include "engine/journal/seal.h"
#include "engine/journal/stored.h"

namespace engine::cli {
namespace {

using base::Result;
using journal::Position;
using journal::StoredPart;

const char* ending_of(int codec) {
  return codec == journal::kCodecZstd ? ".zst" : "";
}

class RecordWriter {
 public:
  RecordWriter(const journal::Store& store, std::string folder, Position proved)
      : store_(store), folder_(std::move(folder)), proved_(proved) {}

  Result<void> read_keys() {
    auto keys = store_.body_keys();
    if (!keys) {
      return std::move(keys).error();
    }
    for (journal::WrappedKey& key : *keys) {
      keys_.emplace(key.id, std::move(key));
    }
    return {};
  }

  Result<void> write(Position position) {
    const auto text = store_.head_text(position);
    if (!text) {
      return text.error();
    }
    // What cannot be read goes as it is: whoever verifies the export names it.
    const auto read = journal::parse_head(*text, position);
    const journal::Head head = read ? *read : journal::Head();
    written_.insert(position);
    Result<void> written = write_private_file(stem(position) + "record", *text);
    // Read first: a visitor may ask the store nothing.
    std::vector<StoredPart> parts;
    const auto scanned = store_.scan_parts(position, [&](const journal::PartRow& row) {
      if (row.position == position) {
        parts.push_back(row.part);
      }
      return row.position == position;
    });
    if (!scanned) {
      return scanned.error();
    }
    for (const journal::Head::PartMark& mark : head.parts) {
      const auto part = std::find_if(parts.begin(), parts.end(),
                                     [&](const StoredPart& one) { return one.name == mark.name; });
      if (written) {
        written = part != parts.end() ? write_part(position, *part)
                                      : write_destroyed(position, mark.name);
      }
    }
    return written;
  }

  // What the records written so far say was destroyed by others.
  Result<void> write_destroyers() {
    while (!wanted_.empty()) {
      const Position position = *wanted_.begin();
      wanted_.erase(wanted_.begin());
      if (written_.count(position) == 0) {
        if (auto done = write(position); !done) {
          return done;
        }
      }
    }
    return {};
  }

 private:
  std::string stem(Position position) const {
    return folder_ + "/records/" + std::to_string(position) + ".";
  }

  Result<void> write_part(Position position, const StoredPart& part) {
    const std::string name = stem(position) + part.name;
    if (!journal::is_sealed(part.codec)) {
      return write_private_file(name + ending_of(part.codec), part.bytes);
    }
    auto written = write_private_file(name + ".sealed", part.bytes);
    const auto id = journal::key_id_of(part.bytes);
    if (!written || !id) {
      return written ? id.error() : written;
    }
    const auto wrapped = keys_.find(*id);
    if (wrapped == keys_.end()) {
      return write_destroyed(position, part.name);
    }
    return store_.sealing() != nullptr ? write_opened(position, part, wrapped->second)
                                       : Result<void>();
  }

  // The part's own key comes along: with it anybody opens what is proved, and nothing else.
  Result<void> write_opened(Position position, const StoredPart& part,
                            const journal::WrappedKey& wrapped) {
    const auto key = journal::unwrap(wrapped, store_.sealing()->masters);
    const auto opened = key ? journal::open(part, position, *key) : key.error();
    if (!opened) {
      return opened.error();
    }
    const std::string name = stem(position) + part.name;
    const std::string secret = journal::part_key(key->secret, position, part.name, part.codec);
    auto written = write_private_file(name + ".key", base::to_hex(secret) + "\n");
    return written ? write_private_file(name + ending_of(opened->codec), opened->bytes) : written;
  }

  Result<void> write_destroyed(Position position, const std::string& name) {
    const auto by = store_.destroyed_by(position, name);
    if (!by || !by->has_value() || **by > proved_) {
      return by ? Result<void>() : by.error();  // lost: whoever verifies the export names it
    }
    wanted_.insert(**by);
    return write_private_file(stem(position) + name + ".destroyed", std::to_string(**by) + "\n");
  }

  const journal::Store& store_;
  const std::string folder_;
  const Position proved_;
  std::map<std::string, journal::WrappedKey> keys_;
  std::set<Position> written_;
  std::set<Position> wanted_;
};

}  // namespace

Result<std::size_t> write_records(const journal::Store& store, journal::Query query,
                                  ExportEnds ends, const std::string& folder) {
  RecordWriter writer(store, folder, ends.proved);
  if (auto read = writer.read_keys(); !read) {
    return read.error();
  }
  std::size_t count = 0;
  query.limit = base::limits::kEventsCatchUpMax;
  for (bool more = true; more;) {
    const auto records = store.search(query);
    if (!records) {
      return records.error();
    }
    more = records->size() == query.limit;
    for (const journal::Record& record : *records) {
      if (record.position > ends.chosen) {
        more = false;
        break;
      }
      if (auto written = writer.write(record.position); !written) {
        return written.error();
      }
      query.after = record.position;
      ++count;
    }
  }
  if (auto written = writer.write_destroyers(); !written) {
    return written.error();
  }
  return count;
}

}  // namespace engine::cli

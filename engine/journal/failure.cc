#include "engine/journal/failure.h"

#include <array>

#include "engine/base/limits.h"
#include "engine/journal/store.h"

namespace engine::journal {
namespace {

using base::ErrorCode;

constexpr FailureKind kDiskFull = {"disk-full", "the disk is full: make room"};
constexpr FailureKind kReadOnly = {"read-only", "its file may not be written: look at its rights"};
constexpr FailureKind kDatabase = {"database", "the database does not do it: look at the database"};
constexpr FailureKind kDisk = {"disk", "the disk does not do it: look at the disk and the rights"};
constexpr FailureKind kDamaged = {"damaged", "what is there is damaged: run journal verify"};
constexpr FailureKind kMasterKey = {
    "master-key", "its master key is not the one in force: look at journal-key and restart"};
constexpr FailureKind kContent = {"content", "it was given something that it cannot hold"};

// What SQLite and PostgreSQL say, and say in English whatever the locale of the engine.
struct Saying {
  std::string_view words;
  FailureKind kind;
};
constexpr std::array<Saying, 9> kSayings = {{
    {"disk is full", kDiskFull},
    {"No space left", kDiskFull},
    {"readonly database", kReadOnly},
    {"read-only transaction", kReadOnly},
    {"unable to open database file", kReadOnly},
    {"no such table", kDamaged},
    {"no such index", kDamaged},
    {"no query solution", kDamaged},  // an index under a name that another one should have
    {"the journal's database", kDatabase},
}};

// One line of a log, whatever a database wrote.
std::string line_of(const base::Error& why) {
  std::string out = why.text().substr(0, base::limits::kLoggedCauseBytesMax);
  for (char& c : out) {
    const auto byte = static_cast<unsigned char>(c);
    c = byte < 0x20 || c == '"' ? '\'' : c;
  }
  return out;
}

}  // namespace

FailureKind kind_of_failure(const base::Error& error) {
  if (error.code == ErrorCode::kCorrupt) {
    return kDamaged;
  }
  if (error.code == ErrorCode::kUnsupported || error.code == ErrorCode::kConflict) {
    return kMasterKey;
  }
  if (error.code != ErrorCode::kIo) {
    return kContent;
  }
  for (const Saying& one : kSayings) {
    if (error.detail.find(one.words) != std::string::npos) {
      return one.kind;
    }
  }
  return kDisk;
}

bool is_for_want_of_a_key(const Store& store, const base::Error& error) {
  if (error.code != ErrorCode::kUnsupported) {
    return false;
  }
  const auto master = store.master();
  const Sealing* const sealing = store.sealing();
  return master && !master->empty() &&
         (sealing == nullptr || sealing->masters.find(*master) == nullptr);
}

std::optional<FailureLog::Line> FailureLog::failed(const base::Error& why, Time now) {
  since_ = failures_ == 0 ? now : since_;
  const bool due = failures_ == 0 || now >= next_;
  ++failures_;
  if (!due) {
    return std::nullopt;
  }
  next_ = now + base::limits::kFailureLogPause;
  return Line{failing_, "kind=" + std::string(kind_of_failure(why).name) + " failures=" +
                            std::to_string(failures_) + " what=\"" + line_of(why) + "\""};
}

std::optional<FailureLog::Line> FailureLog::well(Time now) {
  if (failures_ == 0) {
    return std::nullopt;
  }
  const auto lasted = std::chrono::duration_cast<std::chrono::seconds>(now - since_);
  Line line{well_,
            "failures=" + std::to_string(failures_) + " seconds=" + std::to_string(lasted.count())};
  failures_ = 0;
  return line;
}

std::optional<FailureLog::Line> FailureLog::damaged(const base::Error& what, Time now) {
  const bool due = damaged_ == 0 || now >= next_damaged_;
  ++damaged_;
  if (!due) {
    return std::nullopt;
  }
  next_damaged_ = now + base::limits::kFailureLogPause;
  return Line{"journal-damaged",
              "changes=" + std::to_string(damaged_) + " what=\"" + line_of(what) + "\""};
}

}  // namespace engine::journal

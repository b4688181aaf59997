#pragma once
// Shared by the journal's tests: a clock that stands still until told, and short ways to write
// records.

#include <chrono>
#include <filesystem>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

#include "engine/base/seams.h"
#include "engine/journal/sqlite_store.h"
#include "engine/journal/store.h"
#include "engine/journal/stored.h"

namespace engine::journal {

class SetClock final : public base::Clock {
 public:
  std::chrono::system_clock::time_point now() const override { return now_; }
  std::chrono::steady_clock::time_point steady() const override {
    return std::chrono::steady_clock::time_point(now_.time_since_epoch());
  }
  void set(std::chrono::seconds since_1970) {
    now_ = std::chrono::system_clock::time_point(since_1970);
  }

 private:
  std::chrono::system_clock::time_point now_{std::chrono::seconds(1'800'000'000)};
};

class TemporaryFolder {
 public:
  TemporaryFolder() {
    std::string name = ::testing::TempDir() + "chartferry-XXXXXX";
    path_ = ::mkdtemp(name.data());
  }
  ~TemporaryFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  std::string file(const std::string& name) const { return path_ + "/" + name; }

 private:
  std::string path_;
};

inline Record record_of(Kind kind, std::string session, std::uint32_t revision,
                        std::string target = "main") {
  Record record;
  record.kind = kind;
  record.session = std::move(session);
  record.revision = revision;
  if (kind == Kind::kAccepted) {
    record.targets = std::move(target);
    record.patient = "p-" + record.session.substr(0, 1);
    record.content = "content-" + std::to_string(revision);
  } else {
    record.target = std::move(target);
  }
  return record;
}

inline base::Result<Outcome> write(Store& store, const base::Clock& clock, Change change) {
  std::vector<Change> batch;
  batch.push_back(std::move(change));
  auto outcomes = store.commit(batch, clock);
  if (!outcomes) {
    return outcomes.error();
  }
  return outcomes->front();
}

// "a/1 landed, b/1 held(reason)": the legs of the sessions, for comparing with one look.
inline std::string legs_text(const Store& store, const std::vector<std::string>& sessions) {
  std::string out;
  for (const std::string& session : sessions) {
    const auto legs = store.legs(session);
    for (const Leg& leg : *legs) {
      out += (out.empty() ? "" : ", ") + leg.session + "/" + std::to_string(leg.revision) + " " +
             std::string(name_of(leg.state)) + (leg.reason.empty() ? "" : "(" + leg.reason + ")");
    }
  }
  return out;
}

inline std::string due_text(const Store& store, std::int64_t now_ms = 0) {
  std::string out;
  const auto due = store.due("main", now_ms, 100);
  for (const Leg& leg : *due) {
    out += (out.empty() ? "" : " ") + leg.session + "/" + std::to_string(leg.revision);
  }
  return out;
}

}  // namespace engine::journal

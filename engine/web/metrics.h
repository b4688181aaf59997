#pragma once
// What operators watch, in the Prometheus text format 0.0.4. Names and label values are fixed sets:
// never anything of a patient.

#include <array>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "engine/journal/journal.h"

namespace engine::web {

class Metrics {
 public:
  // A listener of the journal: counts records by kind.
  void wrote(const std::vector<journal::Outcome>& outcomes);
  void answered(int status);
  // How the notices of outcomes do, where there are any: records behind the journal's end, and
  // failures since the receiver last took one.
  void noticed(std::uint64_t behind, std::uint32_t failures);
  // What became of signing the tree: the journal contradicts its last head, or no head could be
  // written.
  void heads(bool altered, bool failing);
  bool altered() const { return altered_; }
  // A look for what is to be sent: whether it failed, and whether that of any target did last.
  void looked(bool failed, bool any_unread);
  bool unread() const { return unread_; }

  struct Gauges {
    std::vector<journal::Store::Count> legs;
    journal::Position journal_size = 0;
    bool journal_failing = false;
    struct Target {
      std::string name;
      bool paused = false;     // the record server is away or busy
      bool by_person = false;  // paused by one
      std::size_t in_flight = 0;
    };
    std::vector<Target> targets;
  };
  std::string text(const Gauges& gauges) const;

 private:
  std::array<std::atomic<std::uint64_t>, journal::kKinds + 1> records_{};  // by Kind
  std::array<std::atomic<std::uint64_t>, 6> answers_{};  // by hundreds of the status
  std::atomic<bool> altered_{false};
  std::atomic<bool> heads_failing_{false};
  std::atomic<std::uint64_t> failed_looks_{0};
  std::atomic<bool> unread_{false};
  std::atomic<bool> notices_{false};
  std::atomic<std::uint64_t> notices_behind_{0};
  std::atomic<std::uint32_t> notice_failures_{0};
};

}  // namespace engine::web

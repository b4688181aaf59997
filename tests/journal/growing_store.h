#pragma once
// A store that is written to between two reads of the same reader, as by an engine beside it: for
// tests of what reads a journal in several passes.

#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "engine/journal/store.h"

namespace engine::journal {

class GrowingStore : public Store {
 public:
  // `meanwhile` runs once, before the first scan of parts.
  GrowingStore(Store& store, std::function<void()> meanwhile)
      : store_(&store), meanwhile_(std::move(meanwhile)) {}
  // From now on the other one answers, as a database that takes over does.
  void be(Store& other) { store_ = &other; }

  base::Result<void> scan_parts(Position first,
                                const std::function<bool(const PartRow&)>& visit) const override {
    if (auto deed = std::exchange(meanwhile_, nullptr)) {
      deed();
    }
    return store_->scan_parts(first, visit);
  }

  base::Result<std::vector<Outcome>> commit(std::vector<Change>& batch,
                                            const base::Clock& clock) override {
    return store_->commit(batch, clock);
  }
  base::Result<void> restore(const std::vector<CopiedRecord>& records) override {
    return store_->restore(records);
  }
  base::Result<void> agree(std::string_view name, std::string_view value) override {
    return store_->agree(name, value);
  }
  base::Result<void> retract(std::string_view name) override { return store_->retract(name); }
  base::Result<std::string> agreed(std::string_view name) const override {
    return store_->agreed(name);
  }
  const Sealing* sealing() const override { return store_->sealing(); }
  base::Result<std::vector<WrappedKey>> body_keys() const override { return store_->body_keys(); }
  base::Result<std::string> master() const override { return store_->master(); }
  base::Result<std::size_t> rewrap(std::string_view master, std::size_t limit) override {
    return store_->rewrap(master, limit);
  }
  base::Result<void> restore_keys(const std::vector<WrappedKey>& keys,
                                  std::string_view master) override {
    return store_->restore_keys(keys, master);
  }
  base::Result<std::optional<Position>> destroyed_by(Position position,
                                                     std::string_view name) const override {
    return store_->destroyed_by(position, name);
  }
  base::Result<std::vector<DestroyedRow>> destroyed_rows() const override {
    return store_->destroyed_rows();
  }
  base::Result<std::vector<Record>> legal_holds() const override { return store_->legal_holds(); }
  base::Result<Position> size() const override { return store_->size(); }
  base::Result<std::string> head_text(Position position) const override {
    return store_->head_text(position);
  }
  base::Result<std::string> part(Position position, std::string_view name) const override {
    return store_->part(position, name);
  }
  base::Result<void> scan(Position first,
                          const std::function<bool(Position, std::string_view,
                                                   const base::Digest&)>& visit) const override {
    return store_->scan(first, visit);
  }
  base::Result<std::vector<Record>> search(const Query& query) const override {
    return store_->search(query);
  }
  base::Result<std::vector<Leg>> legs(std::string_view session) const override {
    return store_->legs(session);
  }
  base::Result<std::vector<Acceptance>> acceptances(std::string_view session) const override {
    return store_->acceptances(session);
  }
  base::Result<std::vector<Leg>> untranslated(std::span<const std::string> targets,
                                              std::size_t limit) const override {
    return store_->untranslated(targets, limit);
  }
  base::Result<std::vector<Leg>> due(std::string_view target, std::int64_t now_ms,
                                     std::size_t limit) const override {
    return store_->due(target, now_ms, limit);
  }
  base::Result<std::optional<std::int64_t>> next_due(std::string_view target) const override {
    return store_->next_due(target);
  }
  base::Result<std::vector<Leg>> in_state(LegState state, std::size_t limit) const override {
    return store_->in_state(state, limit);
  }
  base::Result<std::vector<Count>> open_counts() const override { return store_->open_counts(); }
  base::Result<std::vector<std::string>> check_fold(std::size_t limit) const override {
    return store_->check_fold(limit);
  }

 private:
  Store* store_;
  mutable std::function<void()> meanwhile_;
};

}  // namespace engine::journal

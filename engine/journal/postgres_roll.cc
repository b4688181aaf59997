#include "engine/journal/postgres_roll.h"

#include <algorithm>

namespace engine::journal::postgres {

void Roll::look(Time now, const std::vector<Row>& rows) {
  if (!current(now)) {
    began_ = now;
  }
  std::map<std::string, Engine> engines;
  for (const Row& row : rows) {
    const auto known = engines_.find(row.name);
    Engine engine{row.seen, now, row.silence < base::limits::kEngineSilence};
    if (known != engines_.end() && known->second.seen == row.seen) {
      engine.since = std::max(known->second.since, began_);
      engine.fresh = known->second.fresh;
    }
    engines.emplace(row.name, engine);
  }
  // Whose row was taken away lives on all the same, and says so with the next beat.
  for (const auto& [name, known] : engines_) {
    if (now - known.since < lease_) {
      engines.emplace(name, Engine{known.seen, std::max(known.since, began_), false});
    }
  }
  engines_ = std::move(engines);
  last_ = now;
  looked_ = true;
}

bool Roll::current(Time now) const {
  return looked_ && now - last_ <= base::limits::kEngineSilence;
}

std::vector<std::string_view> Roll::living() const {
  std::vector<std::string_view> out;
  for (const auto& [name, engine] : engines_) {
    if (engine.fresh && last_ - engine.since < base::limits::kEngineSilence) {
      out.push_back(name);
    }
  }
  return out;
}

bool Roll::gone(const std::string& name) const {
  const auto found = engines_.find(name);
  return looked_ && last_ - (found == engines_.end() ? began_ : found->second.since) >= lease_;
}

}  // namespace engine::journal::postgres

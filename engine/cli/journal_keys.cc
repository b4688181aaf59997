#include "engine/cli/journal_keys.h"

#include <utility>

#include "engine/cli/system_seams.h"

namespace engine::cli {

base::Result<std::shared_ptr<const journal::Sealing>> sealing_of(
    const std::vector<std::string>& files) {
  if (files.empty()) {
    return std::shared_ptr<const journal::Sealing>();
  }
  auto masters = journal::MasterKeys::load(files);
  if (!masters) {
    return std::move(masters).error();
  }
  struct Owned {
    SystemRandom random;
    journal::Sealing sealing;
  };
  auto owned = std::make_shared<Owned>();
  owned->sealing.masters = std::move(*masters);
  owned->sealing.random = &owned->random;
  return std::shared_ptr<const journal::Sealing>(owned, &owned->sealing);
}

}  // namespace engine::cli

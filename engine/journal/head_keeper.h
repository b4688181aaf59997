#pragma once
// Signs what the journal's tree has become, again and again, so that nobody can change the past
// without contradicting a signed head. Of one thread.

#include <chrono>
#include <optional>
#include <string>
#include <utility>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/journal/merkle.h"
#include "engine/journal/store.h"
#include "engine/journal/tree_head.h"

namespace engine::journal {

// How often an engine signs, when there is anything new.
inline constexpr std::chrono::seconds kHeadPause{60};

class HeadKeeper {
 public:
  struct Files {
    std::string heads;   // beside the journal
    std::string anchor;  // a second file, best on another machine's disk; "": none
  };
  HeadKeeper(const Store& store, const base::Clock& clock, HeadSigner signer, Files files)
      : store_(store), clock_(clock), signer_(std::move(signer)), files_(std::move(files)) {}

  // Reads the records since the last call and signs the tree when it has grown; the head, or
  // nullopt. Errors: kCorrupt when the tree is not the one that was signed last, and then nothing
  // is signed any more; kIo, and the next call tries again.
  base::Result<std::optional<TreeHead>> keep();

 private:
  base::Result<void> catch_up();

  const Store& store_;
  const base::Clock& clock_;
  HeadSigner signer_;
  Files files_;
  Frontier tree_;
  std::optional<TreeHead> last_;  // once read
  bool read_ = false;
};

}  // namespace engine::journal

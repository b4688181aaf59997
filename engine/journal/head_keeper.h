#pragma once
// Signs what the journal's tree has become, again and again, so that nobody can change the past
// without contradicting a signed head, and keeps the heads in a file beside the journal and in
// others elsewhere (anchors). Of one thread.

#include <chrono>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"
#include "engine/journal/merkle.h"
#include "engine/journal/store.h"
#include "engine/journal/tree_head.h"
#include "engine/journal/unsigned_tail.h"

namespace engine::journal {

// How often an engine signs, when there is anything new.
inline constexpr std::chrono::seconds kHeadPause{60};
// Heads in a file, some 60 MiB. A start with more leaves out every second one of the older half,
// again and again: whoever holds one that was left out finds the tree passing through it all the
// same.
inline constexpr std::size_t kHeadsMax = 200'000;

class HeadKeeper {
 public:
  struct Files {
    std::string heads;                 // beside the journal
    std::vector<std::string> anchors;  // others, best on other machines' disks
    bool key_is_old = false;           // it was there before this start: it has signed heads
    std::size_t heads_max = kHeadsMax;
  };
  // Each a list of sentences for the log.
  struct Kept {
    std::optional<TreeHead> head;         // signed just now
    std::vector<std::string> unwritten;   // files that did not take the head: tried again
    std::vector<std::string> made_again;  // files that were missing, and what is in them now
    // Of the first look: why the records behind the newest head should be under one; "" otherwise.
    std::string uncovered;
    // Records that were read for the first time and whose heads do not hash to their leaves. The
    // leaves are what was written, as the records behind them prove: they are signed over all the
    // same, so that what is not damaged stays protected.
    std::vector<std::string> damaged;
    // Lines of files that are no head, or that nobody with the key wrote, as long as they stand
    // there: they prove nothing, neither against the journal nor for it.
    std::vector<std::string> unproved;
  };
  HeadKeeper(const Store& store, const base::Clock& clock, HeadSigner signer, const Files& files);

  // Reads the records since the last call, or all when the log is not the one any more that was
  // read, and signs the tree when it has grown. Errors: kCorrupt
  // when the tree is not one that a head of any file was signed for (a head with this key only
  // when its signature verifies), and then nothing is signed any
  // more until the journal or that file was put right; kIo when the journal or the file beside it
  // cannot be read, and the next call tries again.
  base::Result<Kept> keep();
  // Before the first keep(): how many records the heads with this key cover. Errors: kIo when the
  // file beside the journal cannot be read.
  base::Result<std::uint64_t> covered();
  // The newest head with this key; nullopt when there is none yet.
  const std::optional<TreeHead>& newest() const { return newest_; }

 private:
  struct Place {
    explicit Place(std::string where) : path(std::move(where)) {}
    std::string path;
    bool read = false;
    std::uint64_t size = 0;     // of its newest head with this key
    bool has_no_heads = false;  // lines that are none
    bool is_long = false;       // it is to be thinned out
  };
  // A head that is to be compared with the tree.
  struct Claim {
    base::Digest root{};
    std::string time;
    std::string path;
    std::size_t number = 0;  // among the heads of the file, from 0
  };
  struct Unproved {
    std::string path;
    std::string line;
    std::string text;
  };

  base::Result<void> read_places(Kept& kept);
  void read_newest(Place& place, const std::vector<TreeHead>& heads);
  void name_no_heads(Kept& kept);
  void begin_anew();
  base::Result<bool> goes_on();
  base::Result<void> catch_up(Kept& kept);
  Position looked_from() const;
  void note_unsigned(std::string_view head);
  void judge_unsigned(Kept& kept);
  using HeadFiles = std::map<std::string, HeadsFile>;
  base::Result<bool> proves(const Claim& claim, HeadFiles& files);
  void drop_what_is_gone();
  void thin_out(Place& place);
  base::Result<void> contradiction(const Claim& claim, std::string what);
  base::Result<void> bring_up(Place& place, Kept& kept);
  base::Result<std::vector<TreeHead>> heads_elsewhere(const Place& place);

  const Store& store_;
  const base::Clock& clock_;
  HeadSigner signer_;
  HeadKey key_;                // the public half
  std::vector<Place> places_;  // the file beside the journal first
  const std::size_t heads_max_;
  bool key_is_old_;
  bool none_before_;  // this run signed the first head with this key: no file can miss an older one
  Frontier tree_;
  UnsignedTail tail_;                           // behind the newest head of the first look
  std::size_t starts_ = 0;                      // there
  base::Digest last_leaf_{};                    // of the tree
  std::multimap<std::uint64_t, Claim> claims_;  // by size
  std::vector<std::string> damaged_;            // not handed out yet
  std::vector<Unproved> unproved_;
  std::optional<TreeHead> newest_;
  bool read_ = false;
};

}  // namespace engine::journal

#include "engine/journal/head_keeper.h"

#include <algorithm>

#include <sys/stat.h>

#include "engine/base/limits.h"

namespace engine::journal {

using base::Error;
using base::ErrorCode;
using base::Result;

HeadKeeper::HeadKeeper(const Store& store, const base::Clock& clock, HeadSigner signer,
                       const Files& files)
    : store_(store),
      clock_(clock),
      signer_(std::move(signer)),
      key_is_old_(files.key_is_old),
      none_before_(!files.key_is_old) {
  places_.push_back({files.heads, false, 0});
  for (const std::string& anchor : files.anchors) {
    places_.push_back({anchor, false, 0});
  }
}

// Before the records, so that none can be signed by somebody else in between. An anchor that cannot
// be read (its machine is away) is read as soon as it can be, and holds nothing up.
Result<void> HeadKeeper::read_places(Kept& kept) {
  for (Place& place : places_) {
    if (place.read) {
      continue;
    }
    const auto heads = read_tree_heads(place.path);
    if (!heads) {
      if (&place == &places_.front() || heads.error().code == ErrorCode::kCorrupt) {
        return heads.error();
      }
      kept.unwritten.push_back(heads.error().text());
      continue;
    }
    place.read = true;
    read_ = false;
    for (const TreeHead& head : *heads) {
      claims_.emplace(head.size, Claim{head.root, head.time, place.path});
      if (head.key == signer_.key()) {
        none_before_ = false;
        place.size = std::max(place.size, head.size);
        newest_ = newest_ && newest_->size >= head.size ? newest_ : head;
      }
    }
  }
  return {};
}

// What is wrong is looked at again from the start, should it be put right.
Result<void> HeadKeeper::contradiction(const Claim& claim, std::string what) {
  read_ = false;
  for (Place& place : places_) {
    place.read = false;
    place.size = 0;
  }
  Error error(ErrorCode::kCorrupt, std::move(what), claim.path);
  claims_.clear();
  damaged_.clear();
  newest_.reset();
  none_before_ = false;
  return error;
}

// The first time the whole tree is read, and must pass through all heads that were signed.
Result<void> HeadKeeper::catch_up(Kept& kept) {
  if (auto read = read_places(kept); !read) {
    return read;
  }
  if (!read_) {
    tree_ = Frontier();
  }
  std::optional<Claim> broken;
  const auto scanned = store_.scan(
      tree_.size() + 1, [&](Position position, std::string_view head, const base::Digest& leaf) {
        if (leaf_hash(head) != leaf && damaged_.size() < base::limits::kIssuesMax) {
          damaged_.push_back("the head of record " + std::to_string(position) +
                             " does not hash to its leaf");
        }
        tree_.append(leaf);
        const auto [first, last] = claims_.equal_range(tree_.size());
        for (auto claim = first; claim != last && !broken; ++claim) {
          if (claim->second.root != tree_.root()) {
            broken = claim->second;
          }
        }
        return !broken;
      });
  if (!scanned) {
    return scanned.error();
  }
  if (broken) {
    return contradiction(*broken, "the records are not those that were signed at " + broken->time);
  }
  if (!claims_.empty() && claims_.rbegin()->first > tree_.size()) {
    const Claim claim = claims_.rbegin()->second;
    return contradiction(claim, "records are missing that were signed at " + claim.time +
                                    ": there were " + std::to_string(claims_.rbegin()->first) +
                                    ", the journal has " + std::to_string(tree_.size()));
  }
  claims_.clear();  // all of them agree
  read_ = true;
  return {};
}

// With this key: those of another engine are in its own files.
Result<std::vector<TreeHead>> HeadKeeper::heads_elsewhere(const Place& place) {
  for (const Place& other : places_) {
    if (&other == &place || !other.read || other.size == 0) {
      continue;
    }
    auto heads = read_tree_heads(other.path);
    if (heads) {
      std::erase_if(*heads, [&](const TreeHead& head) { return head.key != signer_.key(); });
    }
    if (!heads || !heads->empty()) {
      return heads;
    }
  }
  return std::vector<TreeHead>();
}

Result<void> HeadKeeper::bring_up(Place& place, Kept& kept) {
  if (!place.read || place.size == newest_->size) {
    return {};
  }
  struct stat file {};
  const bool empty = ::stat(place.path.c_str(), &file) != 0 || file.st_size == 0;
  const auto missing = empty ? heads_elsewhere(place) : std::vector<TreeHead>();
  if (!missing) {
    return missing.error();
  }
  if (!missing->empty()) {
    if (auto written = write_tree_heads(place.path, *missing); !written) {
      return written;
    }
    if (place.size > 0 || !none_before_) {
      kept.made_again.push_back(place.path + " held no heads although some were signed: " +
                                std::to_string(missing->size()) + " were written into it");
    }
    place.size = missing->back().size;
  } else if (empty && (place.size > 0 || key_is_old_)) {
    kept.made_again.push_back(place.path +
                              " held no heads although some were signed, and no other file has "
                              "them: it begins anew");
  }
  if (place.size != newest_->size) {
    if (auto written = append_tree_head(place.path, *newest_); !written) {
      return written;
    }
    place.size = newest_->size;
  }
  return {};
}

Result<HeadKeeper::Kept> HeadKeeper::keep() {
  Kept kept;
  if (auto read = catch_up(kept); !read) {
    return read.error();
  }
  kept.damaged = std::exchange(damaged_, {});
  if (tree_.size() == 0) {
    return kept;
  }
  if (!newest_ || newest_->size != tree_.size()) {
    newest_ = signer_.sign(tree_.size(), tree_.root(), base::to_instant(clock_.now()));
    kept.head = newest_;
  }
  for (Place& place : places_) {
    if (auto written = bring_up(place, kept); !written) {
      kept.unwritten.push_back(written.error().text());
    }
  }
  return kept;
}

}  // namespace engine::journal

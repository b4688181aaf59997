#include "engine/journal/head_keeper.h"

#include <algorithm>
#include <iterator>
#include <limits>
#include <set>

#include <sys/stat.h>

#include "engine/base/limits.h"

namespace engine::journal {

using base::Error;
using base::ErrorCode;
using base::Result;

namespace {

constexpr std::size_t kUnprovedMax = 16;  // that are named
// This one, and one that was killed before its first head. A start takes a moment to sign.
constexpr std::size_t kStartsUnsigned = 2;

}  // namespace

HeadKeeper::HeadKeeper(const Store& store, const base::Clock& clock, HeadSigner signer,
                       const Files& files)
    : store_(store),
      clock_(clock),
      signer_(std::move(signer)),
      key_(*HeadKey::from_pem(signer_.public_pem())),
      heads_max_(files.heads_max),
      key_is_old_(files.key_is_old),
      none_before_(!files.key_is_old) {
  places_.push_back(Place(files.heads));
  for (const std::string& anchor : files.anchors) {
    places_.push_back(Place(anchor));
  }
}

// The last that verifies: sizes rise, and what stands behind it somebody else wrote.
void HeadKeeper::read_newest(Place& place, const std::vector<TreeHead>& heads) {
  const auto last = std::find_if(heads.rbegin(), heads.rend(),
                                 [&](const TreeHead& head) { return key_.verify(head); });
  if (last != heads.rend()) {
    none_before_ = false;
    place.size = last->size;
    newest_ = newest_ && newest_->size >= last->size ? newest_ : *last;
  }
}

// Before the records, so that none can be signed by somebody else in between. An anchor that cannot
// be read (its machine is away), or that holds other lines and not one head, so that it may be
// another file than the one that was meant, is read as soon as it can be, and holds nothing up.
Result<void> HeadKeeper::read_places(Kept& kept) {
  for (Place& place : places_) {
    if (place.read) {
      continue;
    }
    const bool is_anchor = &place != &places_.front();
    const auto file = read_tree_heads(place.path);
    if (!file && !is_anchor) {
      return file.error();
    }
    if (!file) {
      kept.unwritten.push_back(file.error().text());
      continue;
    }
    if (is_anchor && file->heads.empty() && !file->no_heads.empty()) {
      kept.unwritten.push_back(place.path + ":" + std::to_string(file->no_heads.front().number) +
                               ": this file holds lines and not one tree head; none is written "
                               "into it");
      continue;
    }
    place.read = true;
    place.has_no_heads = !file->no_heads.empty();
    place.is_long = file->heads.size() > heads_max_;
    read_ = false;
    for (std::size_t i = 0; i < file->heads.size(); ++i) {
      const TreeHead& head = file->heads[i];
      claims_.emplace(head.size, Claim{head.root, head.time, place.path, i});
    }
    read_newest(place, file->heads);
  }
  return {};
}

// Those that stand there now: somebody may have taken some out.
void HeadKeeper::name_no_heads(Kept& kept) {
  for (Place& place : places_) {
    const auto file =
        place.has_no_heads ? read_tree_heads(place.path) : Result<HeadsFile>(HeadsFile());
    if (!file) {
      continue;  // what comes to be written there tells of it
    }
    place.has_no_heads = !file->no_heads.empty();
    const auto lines = no_heads_of(*file, place.path);
    kept.unproved.insert(kept.unproved.end(), lines.begin(), lines.end());
  }
}

// All is read again: the records from the first, and what the files say of them.
void HeadKeeper::begin_anew() {
  read_ = false;
  for (Place& place : places_) {
    place.read = false;
    place.size = 0;
  }
  claims_.clear();
  damaged_.clear();
  unproved_.clear();
  newest_.reset();
  none_before_ = false;
}

// What is wrong is looked at again from the start, should it be put right.
Result<void> HeadKeeper::contradiction(const Claim& claim, std::string what) {
  Error error(ErrorCode::kCorrupt, std::move(what), claim.path);
  begin_anew();
  return error;
}

// Whether what was read is still the beginning of the log. A database that took over from another
// may lack its end; each leaf holds the one before it, so that the last one tells.
Result<bool> HeadKeeper::goes_on() {
  if (!read_ || tree_.size() == 0) {
    return true;
  }
  bool same = false;
  const auto scanned =
      store_.scan(tree_.size(), [&](Position position, std::string_view, const base::Digest& leaf) {
        same = position == tree_.size() && leaf == last_leaf_;
        return false;
      });
  return scanned ? Result<bool>(same) : scanned.error();
}

// Asked of heads that do not agree only: there may be half a million that do. Of another key nobody
// can tell, unless this key's own heads stand in the same file: they cover all records, and a
// head of another key beside them proves nothing more.
Result<bool> HeadKeeper::proves(const Claim& claim, HeadFiles& files) {
  auto file = files.find(claim.path);
  if (file == files.end()) {
    auto read = read_tree_heads(claim.path);
    if (!read) {
      return std::move(read).error();
    }
    file = files.emplace(claim.path, std::move(*read)).first;
  }
  if (claim.number >= file->second.heads.size()) {
    return true;
  }
  const TreeHead& head = file->second.heads[claim.number];
  const bool foreign = head.key != key_.name();
  const bool beside_ours = std::any_of(
      places_.begin(), places_.end(),
      [&claim](const Place& place) { return place.path == claim.path && place.size > 0; });
  if (foreign ? !beside_ours : key_.verify(head)) {
    return true;
  }
  if (unproved_.size() >= kUnprovedMax) {
    return false;
  }
  unproved_.push_back({claim.path, print_tree_head(head),
                       claim.path + ":" + std::to_string(file->second.lines[claim.number]) +
                           (foreign ? ": signed with another key, and it contradicts the heads of "
                                      "this one; it proves nothing"
                                    : ": the signature does not verify; nobody with the key wrote "
                                      "this line")});
  return false;
}

void HeadKeeper::drop_what_is_gone() {
  std::map<std::string, std::set<std::string>> lines;
  for (const Unproved& one : unproved_) {
    if (lines.count(one.path) > 0) {
      continue;
    }
    const auto file = read_tree_heads(one.path);
    for (const TreeHead& head : file ? file->heads : std::vector<TreeHead>()) {
      lines[one.path].insert(print_tree_head(head));
    }
  }
  std::erase_if(unproved_,
                [&](const Unproved& one) { return lines[one.path].count(one.line) == 0; });
}

// When all of them were held against the tree. A file that takes no other content, or holds lines
// that somebody has to look at, stays as it is.
void HeadKeeper::thin_out(Place& place) {
  if (!std::exchange(place.is_long, false) || place.has_no_heads) {
    return;
  }
  auto file = read_tree_heads(place.path);
  while (file && file->heads.size() > heads_max_) {
    const std::vector<TreeHead>& all = file->heads;
    std::vector<TreeHead> fewer;
    for (std::size_t i = 0; i < all.size(); ++i) {
      if (i % 2 == 0 || i >= all.size() / 2 || all[i].key != key_.name()) {
        fewer.push_back(all[i]);
      }
    }
    if (fewer.size() == all.size()) {
      return;
    }
    file->heads = std::move(fewer);
    if (file->heads.size() <= heads_max_) {
      static_cast<void>(write_tree_heads(place.path, file->heads));
    }
  }
}

// The first time the whole tree is read, and must pass through all heads that were signed.
Result<void> HeadKeeper::catch_up(Kept& kept) {
  const auto same = goes_on();
  if (!same) {
    return same.error();
  }
  if (!*same) {
    begin_anew();
  }
  if (auto read = read_places(kept); !read) {
    return read;
  }
  if (!read_) {
    tree_ = Frontier();
  }
  HeadFiles files;
  std::vector<Claim> broken;
  const Position signed_before = read_ ? std::numeric_limits<Position>::max() : looked_from();
  const auto scanned = store_.scan(
      tree_.size() + 1, [&](Position position, std::string_view head, const base::Digest& leaf) {
        if (leaf_hash(head) != leaf && damaged_.size() < base::limits::kIssuesMax) {
          damaged_.push_back("the head of record " + std::to_string(position) +
                             " does not hash to its leaf");
        }
        tree_.append(leaf);
        last_leaf_ = leaf;
        if (position > signed_before) {
          note_unsigned(head);
        }
        const auto [first, last] = claims_.equal_range(tree_.size());
        for (auto claim = first; claim != last; ++claim) {
          if (claim->second.root != tree_.root()) {
            broken.push_back(claim->second);
          }
        }
        return true;
      });
  if (!scanned) {
    return scanned.error();
  }
  for (const Claim& claim : broken) {
    const auto proved = proves(claim, files);
    if (!proved || *proved) {
      auto broken_off =
          contradiction(claim, "the records are not those that were signed at " + claim.time);
      return proved ? std::move(broken_off) : base::Result<void>(proved.error());
    }
  }
  while (!claims_.empty() && claims_.rbegin()->first > tree_.size()) {
    const auto last = std::prev(claims_.end());
    const Claim claim = last->second;
    const auto proved = proves(claim, files);
    if (!proved || *proved) {
      auto broken_off =
          contradiction(claim, "records are missing that were signed at " + claim.time +
                                   ": there were " + std::to_string(last->first) +
                                   ", the journal has " + std::to_string(tree_.size()));
      return proved ? std::move(broken_off) : base::Result<void>(proved.error());
    }
    claims_.erase(last);
  }
  claims_.clear();  // all of them agree
  read_ = true;
  judge_unsigned(kept);
  return {};
}

// Behind which records have to be looked at, should an engine have signed them. Of a journal that
// several engines share the others signed in files of their own.
Position HeadKeeper::looked_from() const {
  const bool looks = store_.engine().empty() && (newest_ || key_is_old_);
  return !looks ? std::numeric_limits<Position>::max() : newest_ ? newest_->size : 0;
}

void HeadKeeper::note_unsigned(std::string_view head) {
  if (const auto said = parse_head(head)) {
    tail_.add(said->record);
    starts_ += said->record.kind == Kind::kStarted ? 1U : 0U;
  }
}

void HeadKeeper::judge_unsigned(Kept& kept) {
  const std::string why = tail_.why();
  if (!why.empty() && newest_) {
    kept.uncovered = "the newest head covers " + std::to_string(newest_->size) + " of " +
                     std::to_string(tree_.size()) + " records; " + why;
  } else if (why.empty() && !newest_ && store_.engine().empty() && starts_ <= kStartsUnsigned) {
    key_is_old_ = false;  // the first start, which made it, was killed before it signed
  }
  tail_.clear();
  starts_ = 0;
}

Result<std::uint64_t> HeadKeeper::covered() {
  Kept kept;
  if (auto read = read_places(kept); !read) {
    return read.error();
  }
  return newest_ ? newest_->size : 0;
}

// With this key: those of another engine are in its own files.
Result<std::vector<TreeHead>> HeadKeeper::heads_elsewhere(const Place& place) {
  for (const Place& other : places_) {
    if (&other == &place || !other.read || other.size == 0) {
      continue;
    }
    auto file = read_tree_heads(other.path);
    if (!file) {
      return std::move(file).error();
    }
    std::erase_if(file->heads, [&](const TreeHead& head) { return !key_.verify(head); });
    if (!file->heads.empty()) {
      return std::move(file->heads);
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
  drop_what_is_gone();
  for (const Unproved& one : unproved_) {
    kept.unproved.push_back(one.text);
  }
  name_no_heads(kept);
  if (tree_.size() == 0) {
    return kept;
  }
  if (!newest_ || newest_->size != tree_.size()) {
    newest_ = signer_.sign(tree_.size(), tree_.root(), base::to_instant(clock_.now()));
    kept.head = newest_;
  }
  for (Place& place : places_) {
    thin_out(place);
    if (auto written = bring_up(place, kept); !written) {
      kept.unwritten.push_back(written.error().text());
    }
  }
  return kept;
}

}  // namespace engine::journal

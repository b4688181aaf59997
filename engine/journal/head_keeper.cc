#include "engine/journal/head_keeper.h"

namespace engine::journal {

using base::Error;
using base::ErrorCode;
using base::Result;

// The first time the whole tree is read, and must pass through the head that was signed last.
Result<void> HeadKeeper::catch_up() {
  if (!read_) {
    auto heads = read_tree_heads(files_.heads);
    if (!heads) {
      return std::move(heads).error();
    }
    if (!heads->empty()) {
      last_ = heads->back();
    }
    tree_ = Frontier();
  }
  bool differs = false;
  const auto scanned =
      store_.scan(tree_.size() + 1, [&](Position, std::string_view, const base::Digest& leaf) {
        tree_.append(leaf);
        differs = differs || (last_ && tree_.size() == last_->size && tree_.root() != last_->root);
        return true;
      });
  if (!scanned) {
    return scanned.error();
  }
  if (differs || (last_ && tree_.size() < last_->size)) {
    read_ = false;  // looked at again from the start, should the journal be put right
    return Error(ErrorCode::kCorrupt,
                 differs ? "the records are not those that were signed at " + last_->time
                         : "records are missing that were signed at " + last_->time,
                 files_.heads);
  }
  read_ = true;
  return {};
}

Result<std::optional<TreeHead>> HeadKeeper::keep() {
  if (auto read = catch_up(); !read) {
    return read.error();
  }
  if (tree_.size() == 0 || (last_ && last_->size == tree_.size())) {
    return std::optional<TreeHead>();
  }
  TreeHead head = signer_.sign(tree_.size(), tree_.root(), base::to_instant(clock_.now()));
  for (const std::string& file : {files_.heads, files_.anchor}) {
    if (!file.empty()) {
      if (auto written = append_tree_head(file, head); !written) {
        return written.error();
      }
    }
  }
  last_ = head;
  return std::optional<TreeHead>(std::move(head));
}

}  // namespace engine::journal

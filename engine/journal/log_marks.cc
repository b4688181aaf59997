#include "engine/journal/log_marks.h"

#include <utility>

namespace engine::journal {

base::Result<std::optional<Position>> LogMarks::look(const Store& store) {
  const auto end = store.size();
  if (!end) {
    return end.error();
  }
  std::size_t good = marks_.size();
  for (; good > 0; --good) {
    const Mark& mark = marks_[good - 1];
    if (mark.position > *end) {
      continue;
    }
    const auto head = store.head_text(mark.position);
    if (!head && head.error().code != base::ErrorCode::kNotFound) {
      return head.error();
    }
    if (head && *head == mark.head) {
      break;
    }
  }
  const Position same = good > 0 ? marks_[good - 1].position : 0;
  std::string head;
  if (*end > same) {
    auto text = store.head_text(*end);
    if (!text) {
      return std::move(text).error();
    }
    head = std::move(*text);
  }
  const bool cut = good < marks_.size();
  marks_.resize(good);
  if (*end > same) {
    marks_.push_back({*end, std::move(head)});
  }
  if (marks_.size() > kMarksMax) {
    // Of the older half every second one stays: however often somebody looks, they reach far back.
    std::deque<Mark> thinned;
    for (std::size_t i = 0; i < marks_.size(); ++i) {
      if (i >= kMarksMax / 2 || i % 2 == 0) {
        thinned.push_back(std::move(marks_[i]));
      }
    }
    marks_ = std::move(thinned);
  }
  return cut ? std::optional<Position>(same) : std::nullopt;
}

}  // namespace engine::journal

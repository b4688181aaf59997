#include "engine/cli/report_lines.h"

#include <algorithm>
#include <cstdio>
#include <string_view>
#include <utility>

#include "engine/json/write.h"

namespace engine::cli {
namespace {

constexpr std::size_t kRowsForWidths = 200;

bool is_count(const std::string& name) {
  static const std::vector<std::string> counts = {"record",  "revision",  "corrects", "sessions",
                                                  "status",  "median-s",  "p90-s",    "p99-s",
                                                  "worst-s", "before-end"};
  return std::find(counts.begin(), counts.end(), name) != counts.end();
}

// Characters, not bytes: names have accents.
std::size_t width_of(const std::string& cell) {
  return static_cast<std::size_t>(std::count_if(cell.begin(), cell.end(), [](char c) {
    return (static_cast<unsigned char>(c) & 0xC0U) != 0x80;
  }));
}

// Bytes at the start of the text that steer a terminal; 0 for none. C0, DEL, C1 (U+0080 to U+009F,
// which some terminals obey), and those that turn the direction of what follows (UAX #9: U+202A to
// U+202E, U+2066 to U+2069).
std::size_t steering_bytes(std::string_view text) {
  const auto at = [&](std::size_t i) {
    return i < text.size() ? static_cast<unsigned char>(text[i]) : 0U;
  };
  if (at(0) < 0x20 || at(0) == 0x7F) {
    return 1;
  }
  if (at(0) == 0xC2 && at(1) >= 0x80 && at(1) <= 0x9F) {
    return 2;
  }
  const bool turns = at(0) == 0xE2 && ((at(1) == 0x80 && at(2) >= 0xAA && at(2) <= 0xAE) ||
                                       (at(1) == 0x81 && at(2) >= 0xA6 && at(2) <= 0xA9));
  return turns ? 3 : 0;
}

// What somebody sent must not move the reader's terminal, nor show in another order than it says.
std::string one_line(std::string_view cell) {
  std::string out;
  while (!cell.empty()) {
    const std::size_t steering = steering_bytes(cell);
    out += steering > 0 ? ' ' : cell.front();
    cell.remove_prefix(std::max<std::size_t>(steering, 1));
  }
  return out.empty() ? "-" : out;
}

}  // namespace

void ReportLines::head(std::vector<std::string> names) {
  names_ = std::move(names);
  if (!as_json_) {
    first_.push_back(names_);
  }
}

void ReportLines::row(std::vector<std::string> cells) {
  if (as_json_) {
    std::string out;
    for (std::size_t i = 0; i < cells.size(); ++i) {
      if (cells[i].empty()) {
        continue;
      }
      out += out.empty() ? "{" : ",";
      json::write_string(names_[i], out);
      out += ":";
      if (is_count(names_[i])) {
        out += cells[i];
      } else {
        json::write_string(cells[i], out);
      }
    }
    std::printf("%s}\n", out.c_str());
    return;
  }
  if (!widths_.empty()) {
    print(cells);
    return;
  }
  first_.push_back(std::move(cells));
  if (first_.size() > kRowsForWidths) {
    flush();
  }
}

void ReportLines::flush() {
  if (as_json_ || !widths_.empty()) {
    return;
  }
  widths_.assign(names_.size(), 0);
  for (const auto& cells : first_) {
    for (std::size_t i = 0; i < cells.size(); ++i) {
      widths_[i] = std::max(widths_[i], width_of(one_line(cells[i])));
    }
  }
  for (const auto& cells : std::exchange(first_, {})) {
    print(cells);
  }
}

void ReportLines::print(const std::vector<std::string>& cells) const {
  std::string out;
  for (std::size_t i = 0; i < cells.size(); ++i) {
    const std::string cell = one_line(cells[i]);
    out += cell;
    if (i + 1 < cells.size()) {
      out.append(2 + widths_[i] - std::min(widths_[i], width_of(cell)), ' ');
    }
  }
  std::printf("%s\n", out.c_str());
}

}  // namespace engine::cli

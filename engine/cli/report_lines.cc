#include "engine/cli/report_lines.h"

#include <algorithm>
#include <cstdio>
#include <string_view>
#include <utility>

#include "engine/cli/shown_text.h"
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

// What somebody sent must not move the reader's terminal.
std::string one_line(std::string_view cell) {
  std::string out = shown_text(cell);
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

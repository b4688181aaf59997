#pragma once
// Rows of a report on the standard output: a table for people, or a JSON object a line for
// programs. A table's columns are as wide as the first rows need; later rows may stand out.

#include <string>
#include <vector>

namespace engine::cli {

class ReportLines {
 public:
  explicit ReportLines(bool as_json) : as_json_(as_json) {}
  void head(std::vector<std::string> names);
  // As many cells as names. JSON leaves empty ones out and writes all as texts, except that whole
  // numbers of counts are numbers.
  void row(std::vector<std::string> cells);
  // At the end.
  void flush();

 private:
  void print(const std::vector<std::string>& cells) const;

  const bool as_json_;
  std::vector<std::string> names_;
  std::vector<std::vector<std::string>> first_;  // until the widths are known
  std::vector<std::size_t> widths_;
};

}  // namespace engine::cli

// ConceptMaps written as CSV: RFC 4180 fields, with the head lines described in concept_map.h.

#include <array>
#include <optional>
#include <utility>

#include "engine/base/utf8.h"
#include "engine/mapping/concept_map.h"

namespace engine::mapping {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

struct Field {
  std::string text;
  Place place;
};

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) {
    text.remove_prefix(1);
  }
  while (!text.empty() && (text.back() == ' ' || text.back() == '\t' || text.back() == '\r')) {
    text.remove_suffix(1);
  }
  return text;
}

// Reads records one after the other; quoted fields may hold commas, line ends and doubled quotation
// marks.
class CsvReader {
 public:
  CsvReader(std::string_view text, std::string file) : text_(text), file_(std::move(file)) {
    if (text_.substr(0, 3) == "\xEF\xBB\xBF") {
      at_ = line_begin_ = 3;
    }
  }

  bool at_end() const { return at_ >= text_.size(); }
  bool at_comment() const { return !at_end() && text_[at_] == '#'; }
  const std::string& file() const { return file_; }

  std::string_view line() {
    std::size_t end = text_.find('\n', at_);
    end = end == std::string_view::npos ? text_.size() : end;
    const std::string_view line = text_.substr(at_, end - at_);
    at_ = end;
    end_line();
    return line;
  }

  Result<std::vector<Field>> record() {
    std::vector<Field> fields;
    while (true) {
      Field field;
      field.place = here();
      if (at_ < text_.size() && text_[at_] == '"') {
        Result<void> read = quoted(field);
        if (!read) {
          return std::move(read).error();
        }
      } else {
        const std::size_t begin = at_;
        while (at_ < text_.size() && text_[at_] != ',' && text_[at_] != '\n') {
          ++at_;
        }
        field.text = trimmed(text_.substr(begin, at_ - begin));
      }
      fields.push_back(std::move(field));
      if (at_ < text_.size() && text_[at_] == ',') {
        ++at_;
        continue;
      }
      if (at_ < text_.size() && text_[at_] == '\r') {
        ++at_;
      }
      if (at_ < text_.size() && text_[at_] != '\n') {
        return Error(ErrorCode::kInvalid,
                     "a comma or the line's end is expected after a quoted field",
                     place_text(file_, here()));
      }
      end_line();
      return fields;
    }
  }

 private:
  Place here() const {
    const std::size_t column = base::count_scalars(text_.substr(line_begin_, at_ - line_begin_));
    return {line_, static_cast<std::uint32_t>(column + 1)};
  }

  void end_line() {
    if (at_ < text_.size()) {
      ++at_;
      ++line_;
      line_begin_ = at_;
    }
  }

  Result<void> quoted(Field& field) {
    const Place begin = here();
    ++at_;
    while (at_ < text_.size()) {
      const char c = text_[at_++];
      if (c == '"') {
        if (at_ >= text_.size() || text_[at_] != '"') {
          return {};
        }
        ++at_;
      } else if (c == '\n') {
        ++line_;
        line_begin_ = at_;
      }
      field.text.push_back(c);
    }
    return Error(ErrorCode::kInvalid, "this quoted field has no end", place_text(file_, begin));
  }

  std::string_view text_;
  std::string file_;
  std::size_t at_ = 0;
  std::size_t line_begin_ = 0;
  std::uint32_t line_ = 1;
};

enum Column : std::size_t { kSourceSystem, kSourceCode, kSystem, kCode, kDisplay, kEquivalence };
constexpr std::array<std::string_view, 6> kColumnNames = {
    "source system", "source code", "target system", "code", "display", "equivalence"};
using ColumnIndexes = std::array<std::optional<std::size_t>, kColumnNames.size()>;

Result<ColumnIndexes> read_header(CsvReader& reader) {
  Result<std::vector<Field>> header = reader.record();
  if (!header) {
    return std::move(header).error();
  }
  ColumnIndexes indexes;
  for (std::size_t i = 0; i < header->size(); ++i) {
    bool known = false;
    for (std::size_t column = 0; column < kColumnNames.size(); ++column) {
      if ((*header)[i].text == kColumnNames[column]) {
        indexes[column] = i;
        known = true;
      }
    }
    if (!known) {
      return Error(ErrorCode::kInvalid,
                   "there is no column '" + (*header)[i].text +
                       "': source system, source code, target system, code, display and "
                       "equivalence are read",
                   place_text(reader.file(), (*header)[i].place));
    }
  }
  for (const Column needed : {kSourceCode, kSystem, kCode}) {
    if (!indexes[needed]) {
      return Error(ErrorCode::kInvalid,
                   "the column '" + std::string(kColumnNames[needed]) + "' is missing",
                   place_text(reader.file(), (*header)[0].place));
    }
  }
  return indexes;
}

void read_head_line(std::string_view line, ConceptMap& map, std::string& source) {
  line.remove_prefix(1);
  const std::size_t equals = line.find('=');
  if (equals == std::string_view::npos) {
    return;
  }
  const std::string_view key = trimmed(line.substr(0, equals));
  std::string_view value = trimmed(line.substr(equals + 1));
  while (!value.empty() && value.back() == ',') {
    value.remove_suffix(1);  // spreadsheets pad every line to the same number of columns
  }
  if (key == "url") {
    map.url = value;
  } else if (key == "source") {
    source = value;
  }
}

}  // namespace

Result<ConceptMap> read_concept_csv(std::string_view text, const std::string& file) {
  if (base::find_invalid_utf8(text)) {
    return Error(ErrorCode::kInvalid, "the text is not UTF-8", file);
  }
  ConceptMap map;
  map.file = file;
  map.id = file.substr(file.rfind('/') + 1);
  map.id = map.id.substr(0, map.id.rfind('.'));
  map.url = "ConceptMap/" + map.id;
  std::string source;
  CsvReader reader(text, file);
  while (reader.at_comment()) {
    read_head_line(reader.line(), map, source);
  }
  Result<ColumnIndexes> columns = read_header(reader);
  if (!columns) {
    return std::move(columns).error();
  }
  while (!reader.at_end()) {
    if (reader.at_comment()) {
      reader.line();
      continue;
    }
    Result<std::vector<Field>> record = reader.record();
    if (!record) {
      return std::move(record).error();
    }
    if (record->size() == 1 && record->front().text.empty()) {
      continue;
    }
    const auto field = [&](Column column) -> std::string {
      const std::optional<std::size_t> index = (*columns)[column];
      return index && *index < record->size() ? (*record)[*index].text : std::string();
    };
    const std::string row_source = field(kSourceSystem);
    std::string equivalence = field(kEquivalence);
    Result<void> added = map.add(row_source.empty() ? source : row_source, field(kSourceCode),
                                 {field(kSystem), field(kCode), field(kDisplay)},
                                 equivalence.empty() ? "equivalent" : equivalence);
    if (!added) {
      return Error(added.error().code, added.error().detail,
                   place_text(file, record->front().place));
    }
  }
  return map;
}

}  // namespace engine::mapping

#include "engine/journal/start_marks.h"

#include <algorithm>
#include <string_view>
#include <vector>

#include "engine/journal/queries.h"

namespace engine::journal {
namespace {

constexpr std::string_view kSearchKey = "search-key ";
constexpr std::string_view kMasterKey = " master-key ";

}  // namespace

std::string print(const StartMarks& marks) {
  std::string out = std::string(kSearchKey) + marks.search_key;
  return marks.master.empty() ? out : out.append(kMasterKey).append(marks.master);
}

std::optional<StartMarks> start_marks_of(const Record& record) {
  std::string_view text = record.content;
  if (record.kind != Kind::kStarted || !text.starts_with(kSearchKey)) {
    return std::nullopt;
  }
  text.remove_prefix(kSearchKey.size());
  const std::size_t end = std::min(text.find(kMasterKey), text.size());
  StartMarks marks;
  marks.search_key = std::string(text.substr(0, end));
  if (end < text.size()) {
    marks.master = std::string(text.substr(end + kMasterKey.size()));
  }
  return marks;
}

namespace {

template <class Search>
base::Result<std::optional<StartMarks>> newest_found(const Search& search) {
  Query query;
  query.kind = Kind::kStarted;
  query.newest_first = true;
  query.limit = 1;
  while (true) {
    const base::Result<std::vector<Record>> found = search(query);
    if (!found) {
      return found.error();
    }
    if (found->empty()) {
      return std::optional<StartMarks>();
    }
    if (auto marks = start_marks_of(found->front())) {
      return marks;
    }
    query.after = found->front().position;
  }
}

}  // namespace

base::Result<std::optional<StartMarks>> newest_start_marks(const Store& store) {
  return newest_found([&](const Query& query) { return store.search(query); });
}

base::Result<std::optional<StartMarks>> newest_start_marks(sql::Connection& connection) {
  return newest_found([&](const Query& query) { return queries::search(connection, query); });
}

}  // namespace engine::journal

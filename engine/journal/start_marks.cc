#include "engine/journal/start_marks.h"

#include <string_view>
#include <vector>

#include "engine/journal/queries.h"

namespace engine::journal {
namespace {

constexpr std::string_view kSearchKey = "search-key ";
constexpr std::string_view kHeadKey = " head-key ";
constexpr std::string_view kMasterKey = " master-key ";

// What stands behind `name`, which is taken off the text together with it; "" when it does not.
std::string take(std::string_view& text, std::string_view name) {
  const std::size_t at = text.find(name);
  if (at == std::string_view::npos) {
    return {};
  }
  std::string value(text.substr(at + name.size()));
  text = text.substr(0, at);
  return value;
}

}  // namespace

std::string print(const StartMarks& marks) {
  std::string out = std::string(kSearchKey) + marks.search_key;
  if (!marks.head_key.empty()) {
    out.append(kHeadKey).append(marks.head_key);
  }
  return marks.master.empty() ? out : out.append(kMasterKey).append(marks.master);
}

std::optional<StartMarks> start_marks_of(const Record& record) {
  std::string_view text = record.content;
  if (record.kind != Kind::kStarted || !text.starts_with(kSearchKey)) {
    return std::nullopt;
  }
  text.remove_prefix(kSearchKey.size());
  StartMarks marks;
  marks.master = take(text, kMasterKey);
  marks.head_key = take(text, kHeadKey);
  marks.search_key = std::string(text);
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

#include "engine/replay/report_pages.h"

#include <utility>
#include <vector>

namespace engine::replay {
namespace {

constexpr std::size_t kPage = 256;  // records: little in memory, few questions

}  // namespace

base::Result<void> each_record(const journal::Store& store, journal::Query query, Unread& unread,
                               const std::function<base::Result<void>(journal::Record&)>& visit) {
  query.limit = kPage;
  while (true) {
    auto records = store.search(query);
    if (!records) {
      return std::move(records).error();
    }
    for (journal::Record& record : *records) {
      query.after = record.position;
      if (record.kind == journal::Kind::kUnreadable) {
        unread.insert(record.position);  // verify names it
        continue;
      }
      const auto visited = visit(record);
      if (!visited && visited.error().code != base::ErrorCode::kCorrupt) {
        return visited;
      }
      if (!visited) {
        unread.insert(query.after);  // something that it hangs on
      }
    }
    if (records->size() < kPage) {
      return {};
    }
  }
}

base::Result<void> read_document(const journal::Store& store, journal::Position position,
                                 json::Document& document) {
  const auto bytes = store.part(position, "document");
  if (!bytes) {
    return bytes.error();
  }
  if (!document.parse(*bytes)) {
    return base::Error(base::ErrorCode::kCorrupt, "the document that was taken in is no JSON",
                       "record " + std::to_string(position));
  }
  return {};
}

std::string person_text(const json::Node* person) {
  if (person == nullptr) {
    return {};
  }
  const std::string display(person->string_at("display"));
  const json::Node* identifier = person->find("identifier");
  if (identifier == nullptr) {
    return display;
  }
  const std::string id = std::string(identifier->string_at("system")) + "|" +
                         std::string(identifier->string_at("value"));
  return display.empty() ? id : display + " (" + id + ")";
}

}  // namespace engine::replay

#include "sandbox/record_server/reading.h"

#include <algorithm>
#include <charconv>

#include "engine/base/limits.h"
#include "engine/json/write.h"
#include "sandbox/record_server/interactions.h"
#include "sandbox/record_server/query.h"

namespace sandbox::record_server {
namespace {

namespace limits = engine::base::limits;

const Record& known(const Context& context, std::string_view type, std::string_view id) {
  const Record* record = context.store.find(type, id);
  if (record == nullptr) {
    throw Refusal(404, "not-found", "There is no such " + std::string(type) + '.');
  }
  return *record;
}

Response answer_with(const Context& context, const Record& record, const Version& version) {
  if (version.deleted()) {
    throw Refusal(410, "deleted", "The resource was deleted.");
  }
  Response response;
  response.headers.emplace_back("Content-Type", "application/fhir+json");
  describe(context, record, version, false, response);
  response.body = version.text;
  return response;
}

std::string_view last_of(const Parameters& parameters, std::string_view name) {
  std::string_view found;
  for (const auto& [key, value] : parameters) {
    found = key == name ? std::string_view(value) : found;
  }
  return found;
}

std::size_t number_at(const Parameters& parameters, std::string_view name, std::size_t fallback) {
  const std::string_view text = last_of(parameters, name);
  if (text.empty()) {
    return fallback;
  }
  std::size_t value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || end != text.data() + text.size()) {
    throw Refusal(400, "value", "'" + std::string(name) + "' needs a whole number.");
  }
  return value;
}

struct Page {
  std::size_t offset;
  std::size_t count;
};

Page page_of(const Parameters& parameters) {
  return {number_at(parameters, "_offset", 0),
          std::min(number_at(parameters, "_count", limits::kRecordServerPageDefault),
                   limits::kRecordServerPageMax)};
}

void append_link(std::string_view relation, const std::string& url, std::string& out) {
  out += R"({"relation":")" + std::string(relation) + R"(","url":)";
  engine::json::write_string(url, out);
  out += '}';
}

// Bundle of one page. `path` is what follows the base URL, `understood` the parameters of the self
// link.
std::string page_bundle(const Context& context, std::string_view type, const std::string& path,
                        Parameters understood, Page page, const std::vector<std::string>& entries,
                        std::size_t total) {
  const auto url = [&](std::size_t offset) {
    Parameters all = understood;
    if (page.count != limits::kRecordServerPageDefault) {
      all.emplace_back("_count", std::to_string(page.count));
    }
    if (offset > 0) {
      all.emplace_back("_offset", std::to_string(offset));
    }
    const std::string query = to_query(all);
    return context.base_url + path + (query.empty() ? "" : "?" + query);
  };
  std::string out = R"({"resourceType":"Bundle","type":")" + std::string(type) + R"(","total":)" +
                    std::to_string(total) + R"(,"link":[)";
  append_link("self", url(page.offset), out);
  if (page.count > 0 && page.offset + page.count < total) {
    out += ',';
    append_link("next", url(page.offset + page.count), out);
  }
  out += ']';
  for (std::size_t i = 0; i < entries.size(); ++i) {
    out += (i == 0 ? ",\"entry\":[" : ",") + entries[i];
  }
  return out + (entries.empty() ? "}" : "]}");
}

std::string full_url(const Context& context, const Record& record) {
  std::string out;
  engine::json::write_string(context.base_url + '/' + record.type + '/' + record.id, out);
  return out;
}

std::string history_entry(const Context& context, const Record& record, const Version& version) {
  std::string out = R"({"fullUrl":)" + full_url(context, record);
  if (!version.deleted()) {
    out += ",\"resource\":" + version.text;
  }
  const std::string url = version.method == "POST" ? record.type : record.type + '/' + record.id;
  const int status = version.deleted() ? 204 : (version.number == 1 ? 201 : 200);
  out += R"(,"request":{"method":")" + version.method + R"(","url":")" + url +
         R"("},"response":{"status":")" + status_line(status) + R"(","etag":)";
  engine::json::write_string(etag_of(version), out);
  return out + R"(,"lastModified":")" + version.updated + "\"}}";
}

// Sorts by the earliest date of a parameter; records without one come last.
void sort_by(std::string_view order, std::vector<const Record*>& records) {
  const bool down = order.starts_with('-');
  const std::string_view name = down ? order.substr(1) : order;
  if (name != "date" && name != "_lastUpdated" && name != "recorded") {
    throw Refusal(400, "not-supported", "_sort serves date, recorded and _lastUpdated.");
  }
  const auto earliest = [&](const Record* record) {
    std::int64_t found = std::numeric_limits<std::int64_t>::max();
    for (const Fact& fact : record->facts) {
      found = fact.parameter->name == name ? std::min(found, fact.range.low) : found;
    }
    return found;
  };
  std::stable_sort(records.begin(), records.end(), [&](const Record* a, const Record* b) {
    return down ? earliest(a) > earliest(b) : earliest(a) < earliest(b);
  });
}

Response bundle_response(std::string body) {
  Response response;
  response.headers.emplace_back("Content-Type", "application/fhir+json");
  response.body = std::move(body);
  return response;
}

}  // namespace

Response read(const Context& context, std::string_view type, std::string_view id,
              std::string_view if_none_match) {
  const Record& record = known(context, type, id);
  if (!record.newest().deleted() && if_none_match == etag_of(record.newest())) {
    Response response;
    response.status = 304;
    describe(context, record, record.newest(), false, response);
    return response;
  }
  return answer_with(context, record, record.newest());
}

Response read_version(const Context& context, std::string_view type, std::string_view id,
                      std::string_view version) {
  const Record& record = known(context, type, id);
  for (const Version& one : record.versions) {
    if (std::to_string(one.number) == version) {
      return answer_with(context, record, one);
    }
  }
  throw Refusal(404, "not-found", "There is no such version of the resource.");
}

Response history(const Context& context, std::string_view type, std::string_view id,
                 const Parameters& parameters) {
  std::vector<Change> changes;
  if (!id.empty()) {
    known(context, type, id);
  }
  const std::string_view since_text = last_of(parameters, "_since");
  const auto since =
      since_text.empty() ? DateRange{} : parse_date_range(since_text).value_or(DateRange{0, -1});
  if (since.high < since.low) {
    throw Refusal(400, "value", "'_since' needs an instant.");
  }
  for (const Record& record : context.store.records()) {
    if ((!type.empty() && record.type != type) || (!id.empty() && record.id != id)) {
      continue;
    }
    for (const Version& version : record.versions) {
      const auto at = parse_date_range(version.updated);
      if (since_text.empty() || (at && at->low >= since.low)) {
        changes.push_back({&record, &version});
      }
    }
  }
  std::sort(changes.begin(), changes.end(), [](const Change& a, const Change& b) {
    return a.version->sequence > b.version->sequence;
  });
  const Page page = page_of(parameters);
  std::vector<std::string> entries;
  for (std::size_t i = page.offset; i < changes.size() && entries.size() < page.count; ++i) {
    entries.push_back(history_entry(context, *changes[i].record, *changes[i].version));
  }
  std::string path = type.empty() ? "" : '/' + std::string(type);
  path += id.empty() ? "/_history" : '/' + std::string(id) + "/_history";
  Parameters understood;
  if (!since_text.empty()) {
    understood.emplace_back("_since", since_text);
  }
  return bundle_response(
      page_bundle(context, "history", path, understood, page, entries, changes.size()));
}

Response search(const Context& context, std::string_view type, const Parameters& parameters,
                std::string_view prefer) {
  const bool strict = prefer.find("handling=strict") != std::string_view::npos;
  Query query = parse_search(type, parameters,
                             strict ? UnknownParameters::kRefuse : UnknownParameters::kIgnore,
                             context.base_url);
  std::vector<const Record*> matches = find_matches(context.store, query);
  if (const std::string_view order = last_of(parameters, "_sort"); !order.empty()) {
    sort_by(order, matches);
    query.understood.emplace_back("_sort", order);
  }
  Page page = page_of(parameters);
  if (last_of(parameters, "_summary") == "count") {
    page.count = 0;
    query.understood.emplace_back("_summary", "count");
  }
  std::vector<std::string> entries;
  for (std::size_t i = page.offset; i < matches.size() && entries.size() < page.count; ++i) {
    entries.push_back(R"({"fullUrl":)" + full_url(context, *matches[i]) + ",\"resource\":" +
                      matches[i]->newest().text + R"(,"search":{"mode":"match"}})");
  }
  return bundle_response(page_bundle(context, "searchset", '/' + std::string(type),
                                     query.understood, page, entries, matches.size()));
}

}  // namespace sandbox::record_server

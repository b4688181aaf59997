#include "sandbox/record_server/transaction.h"

#include <algorithm>
#include <array>
#include <set>
#include <unordered_set>

#include "engine/fhir/issue.h"
#include "engine/json/write.h"
#include "sandbox/record_server/references.h"
#include "sandbox/record_server/resource_types.h"
#include "sandbox/record_server/target.h"

namespace sandbox::record_server {
namespace {

using engine::json::Document;
using engine::json::Node;

constexpr std::array<std::string_view, 6> kOrder = {"DELETE", "POST", "PUT",
                                                    "PATCH",  "GET",  "HEAD"};

struct Entry {
  std::size_t index = 0;
  Node* resource = nullptr;
  std::string full_url;
  std::string method;
  std::string url;    // request.url without the server's own base
  std::string type;   // of a writing one
  std::string place;  // id, "?query", or empty
  std::string if_none_exist;
  std::string if_match;
  std::string if_none_match;
  Written written;
  Response answer;  // of a reading one, and of all in a batch
};

std::string place_of(std::size_t index) {
  return "Bundle.entry[" + std::to_string(index) + ']';
}

// Gives a refusal inside an entry the entry's place.
template <class Action>
void within(const Entry& entry, Action&& action) {
  try {
    action();
  } catch (Refusal& refusal) {
    if (refusal.expression.empty()) {
      refusal.expression = place_of(entry.index);
    }
    throw;
  }
}

Entry parse_entry(const Context& context, Node& node, std::size_t index) {
  Entry entry;
  entry.index = index;
  const Node* request = node.find("request");
  if (request == nullptr) {
    throw Refusal(400, "required", "entry.request is missing (bdl-3).", place_of(index));
  }
  entry.resource = node.find("resource");
  entry.full_url = node.string_at("fullUrl");
  entry.method = request->string_at("method");
  entry.url = request->string_at("url");
  entry.if_none_exist = request->string_at("ifNoneExist");
  entry.if_match = request->string_at("ifMatch");
  entry.if_none_match = request->string_at("ifNoneMatch");
  if (std::find(kOrder.begin(), kOrder.end(), entry.method) == kOrder.end() || entry.url.empty()) {
    throw Refusal(400, "value", "entry.request needs a method and a url.", place_of(index));
  }
  const std::string own = context.base_url + '/';
  if (entry.url.starts_with(own)) {
    entry.url = entry.url.substr(own.size());
  }
  const bool writes = entry.method == "POST" || entry.method == "PUT";
  if (writes && entry.resource == nullptr) {
    throw Refusal(400, "required", "POST and PUT entries carry a resource.", place_of(index));
  }
  return entry;
}

std::vector<Entry> parse_entries(const Context& context, Document& bundle) {
  std::vector<Entry> entries;
  Node* list = bundle.root()->find("entry");
  std::unordered_set<std::string> full_urls;
  for (Node* node = list != nullptr ? list->first : nullptr; node != nullptr; node = node->next) {
    Entry entry = parse_entry(context, *node, entries.size());
    if (!entry.full_url.empty() && !full_urls.insert(entry.full_url).second) {
      throw Refusal(400, "invalid", "The fullUrl is there twice (bdl-7).", place_of(entry.index));
    }
    entries.push_back(std::move(entry));
  }
  return entries;
}

// Takes the URL of a writing entry apart: "Type", "Type/id", "Type?query".
void parse_write_url(Entry& entry) {
  const std::size_t question = entry.url.find('?');
  const Target path = parse_target(std::string_view(entry.url).substr(0, question));
  const bool by_query = question != std::string::npos;
  const bool shape = entry.method == "POST" ? path.segments.size() == 1 && !by_query
                                            : path.segments.size() == (by_query ? 1U : 2U);
  if (!shape || !is_resource_type(path.segments[0])) {
    throw Refusal(400, "value", "entry.request.url does not fit the method.",
                  place_of(entry.index));
  }
  entry.type = path.segments[0];
  if (by_query) {
    entry.place = entry.url.substr(question);
  } else if (path.segments.size() == 2) {
    entry.place = path.segments[1];
  }
}

void write_entry(Context& context, Entry& entry) {
  parse_write_url(entry);
  if (entry.method == "DELETE") {
    entry.written = erase(context, entry.type, entry.place, entry.if_match);
    return;
  }
  check_resource(entry.resource, entry.type);
  entry.written = entry.method == "POST"
                      ? create(context, entry.type, *entry.resource, entry.if_none_exist)
                      : update(context, entry.type, entry.place, *entry.resource, entry.if_match);
}

bool wrote(const Entry& entry) {
  const bool matched = entry.method == "POST" && entry.written.status == 200;
  return entry.written.record != nullptr && !matched;
}

// Writes all entries in their order, and fails when two of them meant the same resource.
Links write_entries(Context& context, std::vector<Entry>& entries) {
  Links links;
  std::set<const Record*> identities;
  for (const std::string_view method : {"DELETE", "POST", "PUT"}) {
    for (Entry& entry : entries) {
      if (entry.method != method) {
        continue;
      }
      within(entry, [&] {
        write_entry(context, entry);
        if (wrote(entry) && !identities.insert(entry.written.record).second) {
          throw Refusal(400, "invalid", "Two entries write the same resource.");
        }
      });
      if (!entry.full_url.empty() && entry.written.record != nullptr) {
        links[entry.full_url] = entry.type + '/' + entry.written.record->id;
      }
    }
  }
  return links;
}

void append_string(std::string_view name, std::string_view value, std::string& out) {
  if (!value.empty()) {
    out += ",\"" + std::string(name) + "\":";
    engine::json::write_string(value, out);
  }
}

std::string written_entry(const Context& context, const Entry& entry, std::string_view prefer) {
  std::string out = "{";
  const Record* record = entry.written.record;
  if (record != nullptr && prefer.find("return=representation") != std::string_view::npos &&
      !record->newest().deleted()) {
    out += "\"resource\":" + record->newest().text + ',';
  }
  out += R"("response":{"status":")" + status_line(entry.written.status) + '"';
  if (record != nullptr) {
    append_string("location", location_of(context, *record, record->newest()), out);
    append_string("etag", etag_of(record->newest()), out);
    append_string("lastModified", record->newest().updated, out);
  }
  if (prefer.find("return=OperationOutcome") != std::string_view::npos) {
    out += R"(,"outcome":)" + engine::fhir::to_operation_outcome({});
  }
  return out + "}}";
}

std::string served_entry(const Entry& entry) {
  const Response& answer = entry.answer;
  const bool failed = answer.status >= 400;
  std::string out = "{";
  if (!failed && !answer.body.empty()) {
    out += "\"resource\":" + answer.body + ',';
  }
  out += R"("response":{"status":")" + status_line(answer.status) + '"';
  append_string("location", header_of(answer.headers, "Location"), out);
  append_string("etag", header_of(answer.headers, "ETag"), out);
  if (failed) {
    out += ",\"outcome\":" + answer.body;
  }
  return out + "}}";
}

Request request_of(const Entry& entry, std::string_view prefer) {
  Request request;
  request.method = entry.method;
  request.target = '/' + entry.url;
  const std::array<std::pair<std::string_view, std::string_view>, 4> headers = {
      {{"If-None-Exist", entry.if_none_exist},
       {"If-Match", entry.if_match},
       {"If-None-Match", entry.if_none_match},
       {"Prefer", prefer}}};
  for (const auto& [name, value] : headers) {
    if (!value.empty()) {
      request.headers.emplace_back(name, value);
    }
  }
  if (entry.resource != nullptr) {
    request.headers.emplace_back("Content-Type", "application/fhir+json");
    request.body = engine::json::to_text(*entry.resource);
  }
  return request;
}

std::string response_bundle(std::string_view type, const std::vector<std::string>& entries) {
  std::string out = R"({"resourceType":"Bundle","type":")" + std::string(type) + '"';
  for (std::size_t i = 0; i < entries.size(); ++i) {
    out += (i == 0 ? ",\"entry\":[" : ",") + entries[i];
  }
  return out + (entries.empty() ? "}" : "]}");
}

}  // namespace

std::string run_transaction(Context& context, Document& bundle, std::string_view prefer,
                            const ServeOne& serve) {
  std::vector<Entry> entries = parse_entries(context, bundle);
  const Links links = write_entries(context, entries);
  for (const Entry& entry : entries) {
    if (wrote(entry) && entry.resource != nullptr) {
      rewrite_links(bundle, *entry.resource, links, entry.full_url);
      context.store.amend(*entry.written.record, *entry.resource);
    }
  }
  for (const Entry& entry : entries) {
    if (wrote(entry) && entry.resource != nullptr &&
        settle_references(context, bundle, *entry.resource, Conditional::kResolve)) {
      context.store.amend(*entry.written.record, *entry.resource);
    }
  }
  std::vector<std::string> answers;
  for (Entry& entry : entries) {
    if (entry.method == "PATCH") {
      throw Refusal(405, "not-supported", "PATCH is not supported here.", place_of(entry.index));
    }
    if (!entry.method.starts_with("GET") && entry.method != "HEAD") {
      answers.push_back(written_entry(context, entry, prefer));
      continue;
    }
    within(entry, [&] { entry.answer = serve(request_of(entry, prefer)); });
    answers.push_back(served_entry(entry));
  }
  return response_bundle("transaction-response", answers);
}

std::string run_batch(const Context& context, const Document& bundle, std::string_view prefer,
                      const ServeOne& serve) {
  Document own(bundle.names());
  own.set_root(own.copy(*bundle.root()));
  std::vector<Entry> entries = parse_entries(context, own);
  for (const std::string_view method : kOrder) {
    for (Entry& entry : entries) {
      if (entry.method == method) {
        entry.answer = serve(request_of(entry, prefer));
      }
    }
  }
  std::vector<std::string> answers;
  for (const Entry& entry : entries) {
    answers.push_back(served_entry(entry));
  }
  return response_bundle("batch-response", answers);
}

}  // namespace sandbox::record_server

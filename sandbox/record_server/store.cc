#include "sandbox/record_server/store.h"

#include <algorithm>

#include "engine/base/check.h"
#include "engine/json/write.h"

namespace sandbox::record_server {
namespace {

using engine::json::Node;

std::string key_of(std::string_view type, std::string_view id) {
  return std::string(type) + '/' + std::string(id);
}

void append_member(std::string_view name, std::string& out) {
  out += ',';
  engine::json::write_string(name, out);
  out += ':';
}

// The resource as it is kept: type, id and meta first, the server's versionId and lastUpdated in
// place of the sender's (FHIR R4 http, create).
std::string stamped(const Record& record, const Version& version, const Node& resource) {
  std::string out = R"({"resourceType":)";
  engine::json::write_string(record.type, out);
  append_member("id", out);
  engine::json::write_string(record.id, out);
  append_member("meta", out);
  out += R"({"versionId":")" + std::to_string(version.number) + R"(","lastUpdated":")" +
         version.updated + '"';
  if (const Node* meta = resource.find("meta"); meta != nullptr && meta->is_object()) {
    for (const Node& member : *meta) {
      if (member.name_text() != "versionId" && member.name_text() != "lastUpdated") {
        append_member(member.name_text(), out);
        engine::json::write(member, out);
      }
    }
  }
  out += '}';
  for (const Node& member : resource) {
    const std::string_view name = member.name_text();
    if (name != "resourceType" && name != "id" && name != "meta") {
      append_member(name, out);
      engine::json::write(member, out);
    }
  }
  out += '}';
  return out;
}

}  // namespace

void Store::begin() {
  ENGINE_CHECK(!open_);
  open_ = true;
  id_at_begin_ = last_id_;
}

bool Store::commit() {
  std::vector<Change> changes;
  for (const Step& step : unit_) {
    const Record& record = records_[step.index];
    changes.push_back({&record, &record.newest()});
  }
  if (durable_ && !changes.empty() && !durable_(changes)) {
    rollback();
    return false;
  }
  unit_.clear();
  open_ = false;
  return true;
}

void Store::rollback() {
  if (!open_) {
    return;
  }
  for (auto step = unit_.rbegin(); step != unit_.rend(); ++step) {
    Record& record = records_[step->index];
    drop_identifiers(step->index);
    record.versions.pop_back();
    --sequence_;
    if (step->created) {
      ENGINE_CHECK(step->index + 1 == records_.size());
      by_key_.erase(key_of(record.type, record.id));
      records_.pop_back();
    } else {
      refresh_facts(step->index);
    }
  }
  unit_.clear();
  open_ = false;
  last_id_ = id_at_begin_;
}

std::string Store::free_id(std::string_view type) {
  std::string id;
  do {
    id = std::to_string(++last_id_);
  } while (by_key_.contains(key_of(type, id)));
  return id;
}

const Record& Store::put(std::string_view type, std::string_view id, const Node& resource,
                         std::string_view instant, std::string_view method) {
  const auto [at, created] = by_key_.try_emplace(key_of(type, id), records_.size());
  const std::size_t index = at->second;
  if (created) {
    records_.push_back({std::string(type), std::string(id), {}, {}});
  } else {
    drop_identifiers(index);
  }
  Record& record = records_[index];
  Version version;
  version.number = created ? 1 : record.newest().number + 1;
  version.updated = instant;
  version.method = method;
  version.sequence = ++sequence_;
  version.text = stamped(record, version, resource);
  record.versions.push_back(std::move(version));
  unit_.push_back({index, created});
  refresh_facts(index);
  return record;
}

void Store::amend(const Record& record, const Node& resource) {
  const std::size_t index = by_key_.at(key_of(record.type, record.id));
  ENGINE_CHECK(std::any_of(unit_.begin(), unit_.end(),
                           [&](const Step& step) { return step.index == index; }));
  Record& own = records_[index];
  drop_identifiers(index);
  own.versions.back().text = stamped(own, own.versions.back(), resource);
  refresh_facts(index);
}

void Store::erase(const Record& record, std::string_view instant) {
  const std::size_t index = by_key_.at(key_of(record.type, record.id));
  drop_identifiers(index);
  Version version;
  version.number = record.newest().number + 1;
  version.updated = instant;
  version.method = "DELETE";
  version.sequence = ++sequence_;
  records_[index].versions.push_back(std::move(version));
  unit_.push_back({index, false});
  refresh_facts(index);
}

const Record* Store::find(std::string_view type, std::string_view id) const {
  const auto at = by_key_.find(key_of(type, id));
  return at == by_key_.end() ? nullptr : &records_[at->second];
}

std::vector<const Record*> Store::with_identifier(std::string_view type,
                                                  std::string_view token) const {
  std::vector<const Record*> found;
  const auto [first, last] =
      by_identifier_.equal_range(std::string(type) + '?' + std::string(token));
  for (auto at = first; at != last; ++at) {
    found.push_back(&records_[at->second]);
  }
  std::sort(found.begin(), found.end(), [](const Record* a, const Record* b) {
    return a->versions.front().sequence < b->versions.front().sequence;
  });
  found.erase(std::unique(found.begin(), found.end()), found.end());
  return found;
}

void Store::refresh_facts(std::size_t index) {
  Record& record = records_[index];
  record.facts.clear();
  if (record.newest().deleted()) {
    return;
  }
  engine::json::Document document(names_);
  const auto parsed = document.parse(record.newest().text);
  ENGINE_CHECK(parsed.has_value());
  record.facts = facts_of(record.type, *document.root());
  index_identifiers(index);
}

void Store::index_identifiers(std::size_t index) {
  const Record& record = records_[index];
  for (const Fact& fact : record.facts) {
    if (fact.parameter->name == "identifier") {
      by_identifier_.emplace(record.type + '?' + fact.first + '|' + fact.second, index);
    }
  }
}

void Store::drop_identifiers(std::size_t index) {
  const Record& record = records_[index];
  for (const Fact& fact : record.facts) {
    if (fact.parameter->name != "identifier") {
      continue;
    }
    auto [at, last] =
        by_identifier_.equal_range(record.type + '?' + fact.first + '|' + fact.second);
    while (at != last) {
      at = at->second == index ? by_identifier_.erase(at) : std::next(at);
    }
  }
}

}  // namespace sandbox::record_server

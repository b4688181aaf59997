#pragma once
// The resources and all their versions, in memory. Writes happen inside a unit of work: begin(),
// any number of put() and erase(), then commit() or rollback(), which leaves no trace. Not thread
// safe. Ids are the numbers of the creates, so that the same requests in the same order give the
// same ids.

#include <cstdint>
#include <deque>
#include <functional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "engine/json/document.h"
#include "sandbox/record_server/facts.h"

namespace sandbox::record_server {

struct Version {
  std::uint64_t number = 0;
  std::string updated;         // FHIR instant
  std::string method;          // "POST", "PUT" or "DELETE"
  std::string text;            // compact JSON with id and meta; empty when deleted
  std::uint64_t sequence = 0;  // of all writes of the store
  bool deleted() const { return text.empty(); }
};

struct Record {
  std::string type;
  std::string id;
  std::vector<Version> versions;  // oldest first, never empty outside a unit of work
  Facts facts;                    // of the newest version
  const Version& newest() const { return versions.back(); }
};

// One write, as it goes to the durable log.
struct Change {
  const Record* record;
  const Version* version;
};

class Store {
 public:
  // Called by commit() with the unit's writes; false means they could not be made durable, and
  // undoes the unit.
  using Durable = std::function<bool(const std::vector<Change>&)>;

  explicit Store(const engine::json::NameTable& names) : names_(names) {}
  void set_durable(Durable durable) { durable_ = std::move(durable); }

  void begin();
  bool commit();
  void rollback();  // does nothing when no unit is open

  // An id no record of the type has.
  std::string free_id(std::string_view type);
  // Writes a new version. `resource` is an object; its id and the server's part of meta are
  // replaced.
  const Record& put(std::string_view type, std::string_view id, const engine::json::Node& resource,
                    std::string_view instant, std::string_view method);
  // Replaces the content of the newest version, which must have been written in this unit.
  void amend(const Record& record, const engine::json::Node& resource);
  void erase(const Record& record, std::string_view instant);

  // nullptr when it never existed; a deleted one is found.
  const Record* find(std::string_view type, std::string_view id) const;
  const std::deque<Record>& records() const { return records_; }
  // Those of a type that have the identifier "system|value" now, deleted ones left out.
  std::vector<const Record*> with_identifier(std::string_view type, std::string_view token) const;

 private:
  struct Step {
    std::size_t index;
    bool created;
  };
  void index_identifiers(std::size_t index);
  void drop_identifiers(std::size_t index);
  void refresh_facts(std::size_t index);

  const engine::json::NameTable& names_;
  Durable durable_;
  std::deque<Record> records_;
  std::unordered_map<std::string, std::size_t> by_key_;              // "Type/id"
  std::unordered_multimap<std::string, std::size_t> by_identifier_;  // "Type?system|value"
  std::vector<Step> unit_;
  bool open_ = false;
  std::uint64_t sequence_ = 0;
  std::uint64_t last_id_ = 0;
  std::uint64_t id_at_begin_ = 0;
};

}  // namespace sandbox::record_server

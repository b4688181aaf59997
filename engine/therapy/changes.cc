#include "engine/therapy/changes.h"

#include <algorithm>
#include <string>
#include <unordered_map>
#include <unordered_set>
#include <utility>
#include <vector>

#include "engine/json/write.h"
#include "engine/therapy/ids.h"
#include "engine/therapy/people.h"

namespace engine::therapy {
namespace {

using json::Document;
using json::Kind;
using json::Node;

constexpr std::string_view kUrn = "urn:uuid:";

// True when everything in `part` is in `whole` too: lists item by item, the rest by value. Members
// that say when a version became available do not count.
bool contains(const Node& whole, const Node& part, bool both_ways) {
  if (whole.kind != part.kind) {
    return false;
  }
  if (part.is_object()) {
    for (const Node& member : part) {
      if (member.name_text() == "issued" && part.find("resourceType") != nullptr) {
        continue;
      }
      const Node* other = whole.find(member.name);
      if (other == nullptr || !contains(*other, member, both_ways)) {
        return false;
      }
    }
    return true;
  }
  if (part.is_array()) {
    if (both_ways ? whole.count != part.count : whole.count < part.count) {
      return false;
    }
    const Node* other = whole.first;
    for (const Node& item : part) {
      if (!contains(*other, item, both_ways)) {
        return false;
      }
      other = other->next;
    }
    return true;
  }
  return part.is_boolean() ? whole.boolean == part.boolean : whole.text() == part.text();
}

bool same_content(const Node& a, const Node& b) {
  return contains(a, b, true) && contains(b, a, true);
}

void set_text(Document& document, Node& object, std::string_view member, std::string_view text) {
  if (Node* node = object.find(member)) {
    const Node* made = document.make_string(text);
    node->data = made->data;
    node->length = made->length;
    node->kind = Kind::kString;
  } else {
    document.append(&object, member, document.make_string(text));
  }
}

void unlink(Node& array, Node& item) {
  Node* previous = nullptr;
  for (Node* at = array.first; at != nullptr; previous = at, at = at->next) {
    if (at == &item) {
      (previous != nullptr ? previous->next : array.first) = item.next;
      if (array.last == &item) {
        array.last = previous;
      }
      --array.count;
      break;
    }
  }
  item.next = nullptr;
  item.parent = nullptr;
}

// The identifier that a resource is found by on the server.
std::string query_of(const Node& resource) {
  const Node* identifiers = resource.find("identifier");
  const Node* first = identifiers == nullptr
                          ? nullptr
                          : (identifiers->is_array() ? identifiers->first : identifiers);
  return first == nullptr ? std::string()
                          : identifier_query(first->string_at("system"), first->string_at("value"));
}

enum class Way { kCreate, kUpdate };

void add_request(Document& document, const Resource& resource, Way way) {
  set_text(document, *resource.wrapper, "fullUrl", std::string(kUrn) + resource.id);
  Node* request = document.make_object();
  const std::string type(resource.type);
  const std::string query = query_of(*resource.node);
  if (query.empty()) {
    document.append(request, "method", document.make_string("PUT"));
    document.append(request, "url", document.make_string(type + "/" + resource.id));
  } else if (way == Way::kCreate) {
    document.append(request, "method", document.make_string("POST"));
    document.append(request, "url", document.make_string(type));
    document.append(request, "ifNoneExist", document.make_string(query));
  } else {
    document.append(request, "method", document.make_string("PUT"));
    document.append(request, "url", document.make_string(type + "?" + query));
  }
  document.append(resource.wrapper, "request", request);
}

// The status of a changed resource: an Observation that was final becomes corrected, or amended
// when the new version only adds. Preliminary ones stay so until attested; other types have no such
// status, and their Provenance tells.
void mark_changed(Document& document, const Resource& now, const Resource& before) {
  if (now.type != "Observation" || now.node->string_at("status") != "final" ||
      before.node->string_at("status") != "final") {
    return;
  }
  // Of one in doubt the readers of the chart may have seen what was sent before it.
  const bool only_added = !before.doubtful && contains(*now.node, *before.node, false);
  set_text(document, *now.node, "status", only_added ? "amended" : "corrected");
}

using ById = std::unordered_map<std::string_view, const Resource*>;

// References to what this transaction does not carry become searches by identifier; a reference to
// nothing at all is a contradiction of the document.
void settle_references(Document& document, Node& node, const ById& known,
                       const std::unordered_set<std::string_view>& carried, Report& report) {
  for (Node* child = node.first; child != nullptr; child = child->next) {
    if (child->is_string() && child->name_text() == "reference" &&
        child->text().substr(0, kUrn.size()) == kUrn) {
      const std::string_view id = child->text().substr(kUrn.size());
      if (carried.count(id) != 0) {
        continue;
      }
      const auto found = known.find(id);
      if (found == known.end()) {
        report.hold("contradiction", *document.root(),
                    "An entry refers to an activity (during, activity) whose entry is none.",
                    "dangling-reference");
        continue;
      }
      const std::string query = query_of(*found->second->node);
      const std::string text =
          std::string(found->second->type) + (query.empty() ? "/" + std::string(id) : "?" + query);
      set_text(document, node, "reference", text);
    } else if (child->first != nullptr) {
      settle_references(document, *child, known, carried, report);
    }
  }
}

// A resource that the revision no longer makes: its last content, entered in error.
Resource take_back(Rendering& now, const Resource& old) {
  Document& document = now.document;
  Node* list = now.bundle->find("entry");
  if (list == nullptr) {
    list = document.make_array();
    document.append(now.bundle, "entry", list);
  }
  Node* wrapper = document.make_object();
  document.append(wrapper, "resource", document.copy(*old.node));
  Document::append(list, wrapper);
  Resource resource{wrapper, wrapper->find("resource"), {}, old.id, false};
  resource.type = resource.node->string_at("resourceType");
  set_text(document, *resource.node, "status", "entered-in-error");
  return resource;
}

ById index_of(const std::vector<Resource>& resources) {
  ById index;
  for (const Resource& resource : resources) {
    index.emplace(resource.id, &resource);
  }
  return index;
}

}  // namespace

namespace {

// Attestations that the revision before did not have. What they stand for need not change by it: an
// entry of a patient was final before.
bool attested_anew(const Rendering& now, const Rendering& before) {
  const Node* given = now.document.root()->find("attestation");
  const Node* root = before.document.root();
  const Node* earlier = root != nullptr ? root->find("attestation") : nullptr;
  return given != nullptr &&
         (earlier == nullptr || before.in_doubt || !same_content(*given, *earlier));
}

std::string session_search(const Rendering& now, const ById& known) {
  const std::string id = base::to_string(entry_role_id(now.context.session, "", "session"));
  const auto found = known.find(id);
  if (found == known.end()) {
    return {};
  }
  return std::string(found->second->type) + "?" + query_of(*found->second->node);
}

}  // namespace

ChangeCounts apply_changes(Rendering& now, Rendering* before, Report& report) {
  ChangeCounts counts;
  Document& document = now.document;
  const ById old = before != nullptr ? index_of(before->resources) : ById();
  // Made of copies, because `kept` below moves.
  ById known = index_of(now.resources);
  for (const auto& [id, resource] : old) {
    known.emplace(id, resource);
  }
  std::vector<Resource> kept;
  std::unordered_set<std::string_view> carried;
  for (const Resource& resource : now.resources) {
    const auto earlier = old.find(resource.id);
    if (earlier == old.end()) {
      // A reading that was taken back earlier may come again, so later revisions update.
      add_request(document, resource, before == nullptr ? Way::kCreate : Way::kUpdate);
      ++counts.created;
    } else if (const bool same = same_content(*resource.node, *earlier->second->node);
               same && earlier->second->doubtful) {
      // It is there already, or this is its first arrival. What it was sent as it still is.
      if (const std::string_view status = earlier->second->wrapper->string_at("status");
          !status.empty() && resource.node->string_at("status") == "final") {
        set_text(document, *resource.node, "status", status);
      }
      add_request(document, resource, Way::kUpdate);
      ++counts.created;
    } else if (same) {
      if (Node* list = now.bundle->find("entry")) {
        unlink(*list, *resource.wrapper);
      }
      continue;
    } else {
      mark_changed(document, resource, *earlier->second);
      add_request(document, resource, Way::kUpdate);
      ++counts.updated;
    }
    carried.insert(resource.id);
    kept.push_back(resource);
  }
  for (const auto& [id, resource] : old) {
    if (now.resources.end() ==
        std::find_if(now.resources.begin(), now.resources.end(),
                     [&wanted = id](const Resource& r) { return r.id == wanted; })) {
      Resource gone = take_back(now, *resource);
      add_request(document, gone, Way::kUpdate);
      carried.insert(resource->id);
      kept.push_back(std::move(gone));
      ++counts.withdrawn;
    }
  }
  for (const Resource& resource : kept) {
    settle_references(document, *resource.node, known, carried, report);
  }
  if (before != nullptr && attested_anew(now, *before)) {
    counts.attested = true;
    now.attested = session_search(now, known);
    const std::string id = base::to_string(entry_role_id(now.context.session, "", "session"));
    if (carried.count(id) != 0) {
      now.attested.clear();
    }
  }
  now.resources = std::move(kept);
  Node* list = now.bundle->find("entry");
  if (list != nullptr && list->count == 0) {
    unlink(*now.bundle, *list);
  }
  return counts;
}

namespace {

void append_unique_people(Document& document, Node* change, std::string_view member,
                          const std::vector<const Node*>& people) {
  Node* list = document.make_array();
  std::unordered_set<const Node*> places;  // most entries share one, whose text is made once
  std::unordered_set<std::string> seen;
  for (const Node* person : people) {
    if (person != nullptr && places.insert(person).second &&
        seen.insert(json::to_canonical_text(*person)).second) {
      Document::append(list, document.copy(*person));
    }
  }
  if (list->count != 0) {
    document.append(change, member, list);
  }
}

std::string reasons_of(const Node& session) {
  std::string reasons;
  if (const Node* change = session.find("change")) {
    reasons = change->string_at("reason");
  }
  if (const Node* list = session.find("withdrawal")) {
    for (const Node& withdrawal : *list) {
      reasons += reasons.empty() ? "" : "; ";
      reasons += withdrawal.string_at("reason");
    }
  }
  return reasons;
}

}  // namespace

base::Result<void> add_provenance(Rendering& now, const Workshop& shop, const ChangeCounts& counts,
                                  std::string_view accepted_at, std::uint32_t revises) {
  Document& document = now.document;
  Node& session = *document.root();
  Node* change = document.make_object();
  document.append(change, "recorded", document.make_string(accepted_at));
  const bool only_withdrawn = counts.created == 0 && counts.updated == 0 && counts.withdrawn != 0;
  document.append(
      change, "activity",
      document.make_string(revises == 0 ? "CREATE" : (only_withdrawn ? "NULLIFY" : "UPDATE")));
  std::vector<const Node*> authors;
  const Node* sent = session.find("change");
  if (revises != 0 && sent != nullptr && sent->find("author") != nullptr) {
    authors.push_back(sent->find("author"));
  } else {
    const People people(session);
    const Node* entries = session.find("entry");
    authors.push_back(session.find("therapist"));
    for (const Node* entry = entries != nullptr ? entries->first : nullptr; entry != nullptr;
         entry = entry->next) {
      authors.push_back(people.author_of(*entry));
    }
  }
  append_unique_people(document, change, "author", authors);
  append_unique_people(document, change, "verifier", now.verifiers);
  const std::string reasons = reasons_of(session);
  if (!reasons.empty()) {
    document.append(change, "reason", document.make_string(reasons));
  }
  if (revises != 0) {
    document.append(change, "revises", document.make_number(std::to_string(revises)));
  }
  Node* targets = document.make_array();
  for (const Resource& resource : now.resources) {
    Document::append(targets, document.make_string(std::string(kUrn) + resource.id));
  }
  if (!now.attested.empty()) {
    Document::append(targets, document.make_string(now.attested));
  }
  document.append(change, "target", targets);
  document.append(session.find("frame"), "change", change);
  mapping::RunOptions options;
  options.uuid_seed = now.header.session_id;
  options.host_context = &now.context;
  options.with_lineage = !now.run->lineage().empty();
  options.with_rule_runs = !now.run->rule_runs().empty();
  now.provenance_run = std::make_unique<mapping::Run>(*shop.maps, document, std::move(options));
  mapping::Run& run = *now.provenance_run;
  if (!now.run->fired_rules().empty()) {
    run.watch_coverage();
  }
  const mapping::Binding whole[] = {mapping::Binding::of_source(session, shop.model->session()),
                                    mapping::Binding::of_target(*now.bundle)};
  base::Result<void> made = run.call(shop.groups.provenance, whole);
  if (!made) {
    return made;
  }
  run.finish();
  for (Resource& resource : resources_of(*now.bundle)) {
    if (resource.wrapper->find("request") == nullptr) {
      add_request(document, resource, Way::kCreate);
    }
  }
  return {};
}

}  // namespace engine::therapy

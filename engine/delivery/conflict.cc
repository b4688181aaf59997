#include "engine/delivery/conflict.h"

#include <algorithm>
#include <array>
#include <set>
#include <utility>

#include "engine/base/decimal.h"
#include "engine/base/limits.h"
#include "engine/delivery/location.h"
#include "engine/delivery/unknown_people.h"
#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::delivery {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using json::Document;
using json::Node;

const json::NameTable& names() {
  static const json::NameTable table;
  return table;
}

template <std::size_t N>
bool is_one_of(const std::array<std::string_view, N>& list, std::string_view name) {
  return std::find(list.begin(), list.end(), name) != list.end();
}

class Comparison {
 public:
  explicit Comparison(const References& references) : references_(references) {}
  bool same(const Node& theirs, const Node& ours) const;

 private:
  bool same_reference(std::string_view theirs, std::string_view ours) const;
  bool same_members(const Node& theirs, const Node& ours) const;

  const References& references_;
};

// A search or a name within the bundle becomes the server's name of the resource.
bool Comparison::same_reference(std::string_view theirs, std::string_view ours) const {
  const std::size_t question = ours.find('?');
  if (theirs == ours || ours.starts_with("urn:")) {
    return true;
  }
  if (question != std::string_view::npos) {
    const auto meant = references_.find(ours);
    return meant != references_.end()
               ? !meant->second.empty() && resource_of(theirs) == meant->second
               : resource_of(theirs).starts_with(std::string(ours.substr(0, question)) + '/');
  }
  return !resource_of(ours).empty() && resource_of(theirs) == resource_of(ours);
}

// What a server settles as it likes.
bool is_settled(const Node& object, std::string_view name) {
  static constexpr std::array<std::string_view, 3> kOfResource = {"id", "meta", "text"};
  static constexpr std::array<std::string_view, 2> kOfReference = {"type", "display"};
  return (object.find("resourceType") != nullptr && is_one_of(kOfResource, name)) ||
         (object.find("reference") != nullptr && is_one_of(kOfReference, name));
}

bool Comparison::same_members(const Node& theirs, const Node& ours) const {
  for (const Node& member : ours) {
    const std::string_view name = member.name_text();
    if (is_settled(ours, name)) {
      continue;
    }
    const Node* other = theirs.find(name);
    const bool reference = name == "reference" && member.is_string();
    if (other == nullptr && reference && is_of_person(member.text()) &&
        ours.find("identifier") != nullptr) {
      continue;  // sent without it, since nobody knew them there
    }
    const bool equal = other != nullptr && (reference ? same_reference(other->text(), member.text())
                                                      : same(*other, member));
    if (!equal) {
      return false;
    }
  }
  for (const Node& member : theirs) {
    if (!is_settled(ours, member.name_text()) && ours.find(member.name_text()) == nullptr) {
      return false;
    }
  }
  return true;
}

bool Comparison::same(const Node& theirs, const Node& ours) const {
  if (theirs.kind != ours.kind) {
    return false;
  }
  if (ours.is_object()) {
    return same_members(theirs, ours);
  }
  if (ours.is_array()) {
    const Node* other = theirs.first;
    for (const Node& item : ours) {
      if (other == nullptr || !same(*other, item)) {
        return false;
      }
      other = other->next;
    }
    return other == nullptr;
  }
  if (ours.is_number() && theirs.text() != ours.text()) {
    const auto a = base::Decimal::parse(theirs.text());
    const auto b = base::Decimal::parse(ours.text());
    return a && b && *a == *b;
  }
  return ours.is_boolean() ? theirs.boolean == ours.boolean : theirs.text() == ours.text();
}

std::string_view strong(std::string_view etag) {
  return etag.starts_with("W/") ? etag.substr(2) : etag;
}

// "system|value", one or many (FHIR R4 Identifier).
std::set<std::string> identifiers_of(const Node& resource) {
  std::set<std::string> out;
  const auto add = [&out](const Node& one) {
    out.insert(std::string(one.string_at("system")) + "|" + std::string(one.string_at("value")));
  };
  const Node* const list = resource.find("identifier");
  if (list != nullptr && !list->is_array()) {
    add(*list);
  }
  for (const Node* one = list != nullptr && list->is_array() ? list->first : nullptr;
       one != nullptr; one = one->next) {
    add(*one);
  }
  out.erase("|");
  return out;
}

}  // namespace

bool is_of_same_name(std::string_view server_resource, std::string_view sent_resource) {
  Document theirs(names());
  Document ours(names());
  if (!theirs.parse(server_resource) || !ours.parse(sent_resource)) {
    return false;
  }
  const std::set<std::string> ours_are = identifiers_of(*ours.root());
  const std::set<std::string> theirs_are = identifiers_of(*theirs.root());
  return std::any_of(ours_are.begin(), ours_are.end(),
                     [&theirs_are](const std::string& one) { return theirs_are.contains(one); });
}

bool same_version(std::string_view a, std::string_view b) {
  return strong(a) == strong(b);
}

std::string to_text(const std::vector<Conflict>& conflicts) {
  Document out(names());
  out.set_root(out.make_array());
  for (const Conflict& conflict : conflicts) {
    Node* row = out.make_object();
    const std::pair<std::string_view, const std::string*> members[] = {
        {"fullUrl", &conflict.full_url},
        {"resource", &conflict.resource},
        {"expected", &conflict.expected},
        {"found", &conflict.found}};
    for (const auto& [name, value] : members) {
      if (!value->empty()) {
        out.append(row, name, out.make_string(*value));
      }
    }
    if (conflict.gone) {
      out.append(row, "gone", out.make_boolean(true));
    }
    Document::append(out.root(), row);
  }
  return json::to_text(*out.root());
}

Result<std::vector<Conflict>> parse_conflicts(std::string_view text) {
  Document as_is(names());
  Document mended(names());
  const bool good = as_is.parse(text).has_value();
  const Document& document = good ? as_is : mended;
  if ((!good && !mended.parse(without_odd_bytes(text))) || !document.root()->is_array()) {
    return Error(ErrorCode::kCorrupt, "a conflict is no list");
  }
  std::vector<Conflict> out;
  for (const Node& row : *document.root()) {
    const Node* gone = row.find("gone");
    out.push_back({std::string(row.string_at("fullUrl")), std::string(row.string_at("resource")),
                   std::string(row.string_at("expected")), std::string(row.string_at("found")),
                   gone != nullptr && gone->boolean});
  }
  return out;
}

Result<std::vector<Conflict>> conflicts_of(const journal::Store& store, const journal::Leg& leg) {
  const bool may_have =
      leg.state == journal::LegState::kLanded ||
      (leg.state == journal::LegState::kHeld && leg.reason == "changed-elsewhere");
  auto text = may_have ? store.part(leg.changed, "conflict") : Result<std::string>("[]");
  if (!text && text.error().code == ErrorCode::kNotFound && leg.state == journal::LegState::kHeld) {
    // Held again since a later revision was withdrawn; what is in its way stands where it was
    // found.
    journal::Query query;
    query.session = leg.session;
    query.target = leg.target;
    query.kind = journal::Kind::kHeld;
    query.newest_first = true;
    query.limit = base::limits::kHistoryRecordsMax;
    const auto holds = store.search(query);
    if (!holds) {
      return holds.error();
    }
    const auto own = std::find_if(holds->begin(), holds->end(), [&leg](const journal::Record& one) {
      return one.revision == leg.revision;
    });
    text = own != holds->end() ? store.part(own->position, "conflict") : std::move(text);
  }
  if (!text) {
    return text.error().code == ErrorCode::kNotFound ? Result<std::vector<Conflict>>({})
                                                     : text.error();
  }
  return parse_conflicts(*text);
}

std::string to_sentence(const Conflict& conflict) {
  if (conflict.gone) {
    return conflict.resource + " landed" +
           (conflict.expected.empty() ? "" : " as version " + conflict.expected) +
           " and was deleted on the record server since; release makes it anew, withdraw leaves it "
           "deleted.";
  }
  const std::string found =
      conflict.found.empty() ? "another version" : "version " + conflict.found;
  if (conflict.expected.empty()) {
    return conflict.resource + " is there as " + found +
           ", and its content is not what was sent. Compare; release writes this revision over it, "
           "withdraw leaves it.";
  }
  return conflict.resource + " was changed on the record server by somebody else: version " +
         conflict.expected + " was expected, " + found +
         " is there. Compare; release writes this revision over it, withdraw leaves it.";
}

bool is_as_sent(std::string_view server_resource, std::string_view sent_resource,
                const References& references) {
  Document theirs(names());
  Document ours(names());
  return theirs.parse(server_resource) && ours.parse(sent_resource) &&
         Comparison(references).same(*theirs.root(), *ours.root());
}

}  // namespace engine::delivery

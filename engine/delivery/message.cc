#include "engine/delivery/message.h"

#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>

#include "engine/delivery/location.h"
#include "engine/json/document.h"
#include "engine/json/skim.h"
#include "engine/json/write.h"

namespace engine::delivery {
namespace {

using json::Document;
using json::Node;

const json::NameTable& names() {
  static const json::NameTable table;
  return table;
}

void set_text(Document& document, Node& object, std::string_view member, std::string_view text) {
  Node* made = document.make_string(text);
  if (Node* node = object.find(member)) {
    node->data = made->data;
    node->length = made->length;
    node->kind = made->kind;
  } else {
    document.append(&object, member, made);
  }
}

void remove(Node& object, std::string_view member) {
  Node* previous = nullptr;
  for (Node* at = object.first; at != nullptr; previous = at, at = at->next) {
    if (at->name_text() == member) {
      (previous != nullptr ? previous->next : object.first) = at->next;
      object.last = object.last == at ? previous : object.last;
      --object.count;
      return;
    }
  }
}

// What is not sent is about nothing that is not there.
void drop_left_out(Document& document, Node& provenance, const KnownVersions& there) {
  Node* const targets = provenance.find("target");
  if (provenance.string_at("resourceType") != "Provenance" || targets == nullptr ||
      !targets->is_array()) {
    return;
  }
  Node* const kept = document.make_array();
  for (Node* target = targets->first; target != nullptr;) {
    Node* const next = target->next;
    const auto found = there.find(target->string_at("reference"));
    if (found == there.end() || !found->second.gone) {
      target->next = nullptr;
      Document::append(kept, target);
    }
    target = next;
  }
  targets->first = kept->first;
  targets->last = kept->last;
  targets->count = kept->count;
}

void point_to(Document& document, Node& node, const KnownVersions& there) {
  for (Node* child = node.first; child != nullptr; child = child->next) {
    if (child->is_string() && child->name_text() == "reference") {
      const auto found = there.find(child->text());
      if (found != there.end() && !found->second.gone) {
        set_text(document, node, "reference", found->second.resource);
      }
    } else if (child->first != nullptr) {
      point_to(document, *child, there);
    }
  }
}

void name_version(Document& document, Node& request, Node& resource, const KnownVersion& known) {
  set_text(document, request, "method", "PUT");
  set_text(document, request, "url", known.resource);
  remove(request, "ifNoneExist");
  if (!known.etag.empty()) {
    set_text(document, request, "ifMatch", known.etag);
  }
  set_text(document, resource, "id", known.resource.substr(known.resource.find('/') + 1));
}

// Decides how the entry is written, and makes its request so.
Way settle(Document& document, Node& entry, const KnownVersion* known, bool& changed) {
  Node* request = entry.find("request");
  Node* resource = entry.find("resource");
  if (request == nullptr || resource == nullptr) {
    return Way::kPlain;
  }
  const std::string url(request->string_at("url"));
  const bool put = request->string_at("method") == "PUT";
  const bool create =
      request->string_at("method") == "POST" && !request->string_at("ifNoneExist").empty();
  const std::size_t question = url.find('?');
  if (!create && !put) {
    return Way::kPlain;
  }
  const bool placed = known != nullptr && !resource_of(known->resource).empty();
  const bool named = placed && !known->gone && (!known->etag.empty() || known->shown);
  if (named) {
    changed = true;
    name_version(document, *request, *resource, *known);
    return Way::kVersion;
  }
  if (put && question == std::string::npos) {
    return Way::kPlace;
  }
  const bool unseen = known != nullptr && known->unproven && !placed;
  if (put && known != nullptr && !known->gone && !unseen) {
    return Way::kPlain;  // it landed, and the server names no versions
  }
  if (put) {
    changed = true;
    set_text(document, *request, "method", "POST");
    set_text(document, *request, "url", url.substr(0, question));
    set_text(document, *request, "ifNoneExist", url.substr(question + 1));
  }
  return Way::kCreate;
}

bool is_empty_bundle(const Node& root, const Node* list) {
  return root.string_at("resourceType") == "Bundle" &&
         (list == nullptr || (list->is_array() && list->count == 0));
}

// The bundle with nothing in its resources: by far most of its text, which decides nothing here.
// Nothing when it is not written as a bundle is.
std::optional<std::string> skeleton_of(std::string_view bundle) {
  std::string out = "{\"entry\":[";
  json::Skim skim(bundle);
  bool found = false;
  if (!skim.enter()) {
    return std::nullopt;
  }
  while (skim.next()) {
    if (skim.name() != "entry" || found || !skim.enter()) {
      skim.take();
      continue;
    }
    found = true;
    while (skim.next()) {
      if (!skim.enter()) {
        return std::nullopt;
      }
      out += out.back() == '[' ? "{" : ",{";
      while (skim.next()) {
        const std::string_view name = skim.name();
        const std::string_view value = skim.take();
        if (name == "fullUrl" || name == "request" || name == "resource") {
          out += out.back() == '{' ? "\"" : ",\"";
          out += name;
          out += "\":";
          out += name == "resource" ? "{}" : value;
        }
      }
      out += '}';
    }
  }
  return found ? std::optional(out + "]}") : std::nullopt;
}

// Settles each entry that is not there yet; those are moved to `kept`, the others left out. What
// has a place of its own by then is added to `placed`. True when something is to be written
// otherwise than the bundle says.
bool settle_all(Document& document, Node& list, const KnownVersions& known, KnownVersions& placed,
                Message& message) {
  const KnownVersions there = placed;
  Node* kept = document.make_array();
  bool changed = !there.empty();
  std::size_t at = 0;
  for (Node* entry = list.first; entry != nullptr; ++at) {
    Node* const next = entry->next;
    Message::Sent sent;
    sent.entry = at;
    sent.full_url = entry->string_at("fullUrl");
    if (there.find(sent.full_url) == there.end()) {
      if (Node* resource = entry->find("resource")) {
        drop_left_out(document, *resource, there);
      }
      if (const Node* request = entry->find("request")) {
        sent.type = type_of(request->string_at("url"));
      }
      const auto version = known.find(sent.full_url);
      const KnownVersion* before = version != known.end() ? &version->second : nullptr;
      sent.way = settle(document, *entry, before, changed);
      sent.known = before != nullptr ? *before : KnownVersion();
      if (sent.way == Way::kVersion) {
        placed.insert(*version);
      } else if (sent.way != Way::kPlain) {
        const Node& request = *entry->find("request");
        sent.place = std::string(request.string_at("url")) + (sent.way == Way::kCreate ? "?" : "") +
                     std::string(request.string_at("ifNoneExist"));
      }
      entry->next = nullptr;
      Document::append(kept, entry);
      message.sent.push_back(std::move(sent));
    }
    entry = next;
  }
  list.first = kept->first;
  list.last = kept->last;
  list.count = kept->count;
  return changed;
}

// What `settle_all` makes of a text.
struct Settled {
  Document document{names()};
  Message message;
  KnownVersions placed;
  bool changed = false;

  // False when it is no bundle.
  bool read(std::string_view text, const KnownVersions& known, const KnownVersions& there) {
    Node* const list = document.parse(text).has_value() ? document.root()->find("entry") : nullptr;
    message.nothing = document.root() != nullptr && is_empty_bundle(*document.root(), list);
    if (list == nullptr || !list->is_array()) {
      return false;
    }
    placed = there;
    changed = settle_all(document, *list, known, placed, message);
    return true;
  }
};

}  // namespace

Message make_message(std::string bundle, const KnownVersions& known, const KnownVersions& there) {
  if (there.empty()) {
    Settled settled;
    const auto skeleton = skeleton_of(bundle);
    if (skeleton && settled.read(*skeleton, known, there) && !settled.changed &&
        !settled.message.sent.empty()) {
      settled.message.body = std::move(bundle);
      return std::move(settled.message);
    }
  }
  Settled settled;
  if (!settled.read(bundle, known, there) || !settled.changed) {
    settled.message.body = std::move(bundle);
    return std::move(settled.message);
  }
  point_to(settled.document, *settled.document.root()->find("entry"), settled.placed);
  settled.message.body = json::to_text(*settled.document.root());
  return std::move(settled.message);
}

bool is_of(const Message& message, const Landing& landing, const KnownVersions& known,
           const KnownVersions& there) {
  if (landing.size() != message.sent.size()) {
    return false;
  }
  std::map<std::string_view, std::string_view> places;  // whose they are, by fullUrl
  for (const KnownVersions* versions : {&known, &there}) {
    for (const auto& [full_url, version] : *versions) {
      places[version.resource] = full_url;
    }
  }
  std::set<std::string> named;
  for (std::size_t i = 0; i < landing.size(); ++i) {
    const Message::Sent& sent = message.sent[i];
    const std::string resource = resource_of(landing[i].location);
    if (resource.empty()) {
      continue;
    }
    const bool other_type = !sent.type.empty() && type_of(resource) != sent.type;
    const bool other_id = (sent.way == Way::kVersion && resource != sent.known.resource) ||
                          (sent.way == Way::kPlace && resource != sent.place);
    // Two entries are never one resource: a later revision would write one over the other.
    const auto place = places.find(resource);
    const bool of_another = place != places.end() && place->second != sent.full_url;
    if (other_type || other_id || of_another || !named.insert(resource).second) {
      return false;
    }
  }
  return true;
}

Landing whole_landing(const Message& message, const Landing& landing, std::string_view bundle,
                      const KnownVersions& there) {
  Document document(names());
  if (there.empty() || !document.parse(bundle)) {
    return landing;
  }
  Landing out;
  const Node* entries = document.root()->find("entry");
  for (const Node* entry = entries != nullptr ? entries->first : nullptr; entry != nullptr;
       entry = entry->next) {
    LandedEntry row;
    if (const auto found = there.find(entry->string_at("fullUrl")); found != there.end()) {
      row.location = found->second.resource;
      row.etag = found->second.etag;
      row.unproven = found->second.unproven;
      row.not_sent = found->second.gone;
    }
    out.push_back(std::move(row));
  }
  for (std::size_t i = 0; i < message.sent.size() && i < landing.size(); ++i) {
    out[message.sent[i].entry] = landing[i];
  }
  return out;
}

}  // namespace engine::delivery

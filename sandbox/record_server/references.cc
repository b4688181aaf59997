#include "sandbox/record_server/references.h"

#include <algorithm>
#include <array>
#include <vector>

#include "engine/json/write.h"
#include "sandbox/record_server/message.h"
#include "sandbox/record_server/query.h"
#include "sandbox/record_server/resource_types.h"

namespace sandbox::record_server {
namespace {

using engine::json::Document;
using engine::json::Node;

// Members that hold a uri, url, oid or uuid and no canonical.
constexpr std::array<std::string_view, 6> kUriMembers = {"url",      "uri",      "valueUri",
                                                         "valueUrl", "valueOid", "valueUuid"};

void set_text(Document& document, Node& node, std::string_view text) {
  const std::string_view kept = document.arena().copy(text);
  node.data = kept.data();
  node.length = static_cast<std::uint32_t>(kept.size());
}

// Calls visit(node) for every string below, with its member's name set.
template <class Visit>
void visit_strings(Node& node, Visit&& visit) {
  if (node.is_string()) {
    visit(node);
  }
  for (Node* child = node.first; child != nullptr; child = child->next) {
    visit_strings(*child, visit);
  }
}

void rewrite_narrative(Document& document, Node& node, const Links& links) {
  std::string text(node.text());
  bool changed = false;
  for (const auto& [from, to] : links) {
    for (const std::string_view attribute : {"href=", "src="}) {
      for (const char quote : {'"', '\''}) {
        const std::string wanted = std::string(attribute) + quote + from + quote;
        const std::string instead = std::string(attribute) + quote + to + quote;
        for (std::size_t at = text.find(wanted); at != std::string::npos;
             at = text.find(wanted, at + instead.size())) {
          text.replace(at, wanted.size(), instead);
          changed = true;
        }
      }
    }
  }
  if (changed) {
    set_text(document, node, text);
  }
}

// "http://host/fhir/Patient/1" -> "http://host/fhir/"; empty when the URL is no RESTful one.
std::string_view root_of(std::string_view full_url) {
  const std::size_t id = full_url.rfind('/');
  const std::size_t type = id == std::string_view::npos || id == 0 ? std::string_view::npos
                                                                   : full_url.rfind('/', id - 1);
  const bool restful = type != std::string_view::npos && full_url.starts_with("http") &&
                       is_resource_type(full_url.substr(type + 1, id - type - 1));
  return restful ? full_url.substr(0, type + 1) : std::string_view();
}

struct Literal {
  std::string_view type;
  std::string_view id;
};

// "Type/id" with an optional "/_history/v".
std::optional<Literal> parse_literal(std::string_view text) {
  const std::size_t slash = text.find('/');
  if (slash == std::string_view::npos || !is_resource_type(text.substr(0, slash))) {
    return std::nullopt;
  }
  std::string_view id = text.substr(slash + 1);
  id = id.substr(0, id.find("/_history/"));
  return is_id(id) ? std::optional(Literal{text.substr(0, slash), id}) : std::nullopt;
}

std::string resolve_conditional(const Context& context, const Node& node, std::string_view text) {
  const std::size_t question = text.find('?');
  const std::string type(text.substr(0, question));
  const auto matches =
      find_conditional(context.store, type, text.substr(question + 1), context.base_url);
  if (matches.size() != 1) {
    throw Refusal(412, matches.empty() ? "not-found" : "multiple-matches",
                  "The conditional reference to a " + type + " has " +
                      (matches.empty() ? "no match" : "several matches") + " on this server.",
                  expression_of(node));
  }
  return type + '/' + matches.front()->id;
}

void check_literal(const Context& context, const Node& node, std::string_view text) {
  const auto literal = parse_literal(text);
  if (!literal) {
    throw Refusal(400, "value", "The reference is neither [type]/[id] nor an absolute URL.",
                  expression_of(node));
  }
  const Record* target = context.store.find(literal->type, literal->id);
  if (context.abilities.enforce_references && (target == nullptr || target->newest().deleted())) {
    throw Refusal(
        422, "not-found",
        "The reference points to a " + std::string(literal->type) + " that is not on this server.",
        expression_of(node));
  }
}

bool is_conditional(std::string_view text) {
  const std::size_t question = text.find('?');
  return question != std::string_view::npos && is_resource_type(text.substr(0, question));
}

}  // namespace

std::string expression_of(const Node& node) {
  const Node* root = &node;
  while (root->parent != nullptr) {
    root = root->parent;
  }
  std::string out(root->string_at("resourceType"));
  std::string_view pointer_left;
  const std::string pointer = engine::json::pointer_of(node);
  pointer_left = pointer;
  while (!pointer_left.empty()) {
    pointer_left.remove_prefix(1);
    const std::string_view step = pointer_left.substr(0, pointer_left.find('/'));
    const bool index = !step.empty() && std::all_of(step.begin(), step.end(),
                                                    [](char c) { return c >= '0' && c <= '9'; });
    out += index ? '[' + std::string(step) + ']' : '.' + std::string(step);
    pointer_left.remove_prefix(step.size());
  }
  return out;
}

void rewrite_links(Document& document, Node& resource, const Links& links,
                   std::string_view full_url) {
  const std::string root(root_of(full_url));
  visit_strings(resource, [&](Node& node) {
    const std::string_view name = node.name_text();
    if (name == "div") {
      return rewrite_narrative(document, node, links);
    }
    const bool reference = name == "reference";
    if (!reference &&
        std::find(kUriMembers.begin(), kUriMembers.end(), name) == kUriMembers.end()) {
      return;
    }
    auto link = links.find(std::string(node.text()));
    if (link == links.end() && reference && !root.empty()) {
      link = links.find(root + std::string(node.text()));
    }
    if (link != links.end()) {
      set_text(document, node, link->second);
    }
  });
}

bool settle_references(const Context& context, Document& document, Node& resource,
                       Conditional conditional) {
  bool changed = false;
  visit_strings(resource, [&](Node& node) {
    if (node.name_text() != "reference") {
      return;
    }
    std::string_view text = node.text();
    const std::string own = context.base_url + '/';
    if (text.starts_with(own)) {
      text.remove_prefix(own.size());
    }
    if (is_conditional(text)) {
      if (conditional == Conditional::kRefuse) {
        throw Refusal(400, "not-supported",
                      "A conditional reference is allowed inside a transaction only.",
                      expression_of(node));
      }
      set_text(document, node, resolve_conditional(context, node, text));
      changed = true;
    } else if (!context.abilities.enforce_references) {
      return;
    } else if (text.starts_with("urn:")) {
      throw Refusal(400, "not-found", "No entry of the Bundle has this fullUrl.",
                    expression_of(node));
    } else if (!text.starts_with('#') && text.find("://") == std::string_view::npos) {
      check_literal(context, node, text);
    }
  });
  return changed;
}

}  // namespace sandbox::record_server

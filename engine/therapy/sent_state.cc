#include "engine/therapy/sent_state.h"

#include <algorithm>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "engine/base/decimal.h"
#include "engine/base/limits.h"
#include "engine/therapy/ids.h"

namespace engine::therapy {
namespace {

using json::Document;
using json::Node;

struct State {
  const Node* resource = nullptr;
  bool doubtful = false;
};

class Fold {
 public:
  explicit Fold(Document& out) : out_(out) {}

  // One of Revision::sent_before.
  void add(const Node& sent, const Node& bundle) {
    const bool doubtful = sent.find("doubtful") != nullptr;
    state_.in_doubt = state_.in_doubt || doubtful;
    state_.other_patient = state_.other_patient || sent.find("otherPatient") != nullptr;
    if (const Node* revision = sent.find("revision")) {
      const auto number = base::Decimal::parse(revision->text());
      const auto value = number ? number->to_int64() : std::nullopt;
      state_.revision = std::max(state_.revision, static_cast<std::uint32_t>(value.value_or(0)));
    }
    const Node* list = bundle.find("entry");
    for (const Node* entry = list != nullptr ? list->first : nullptr; entry != nullptr;
         entry = entry->next) {
      const Node* resource = entry->find("resource");
      const std::string full_url(entry->string_at("fullUrl"));
      if (resource == nullptr || full_url.empty() ||
          resource->string_at("resourceType") == "Provenance") {
        continue;
      }
      const auto [at, fresh] = states_.try_emplace(full_url);
      if (fresh) {
        order_.push_back(full_url);
      }
      State& state = at->second;
      const bool taken_back = resource->string_at("status") == "entered-in-error";
      if (!taken_back || state.resource == nullptr) {
        state.resource = taken_back ? nullptr : resource;
      } else if (!doubtful) {
        state.resource = nullptr;
      }
      state.doubtful = doubtful;
    }
  }

  SentState whole() {
    for (const auto& [full_url, state] : states_) {
      if (state.resource != nullptr) {
        urls_.emplace(place_of(*state.resource), full_url);
      }
    }
    Node* list = out_.make_array();
    for (const std::string& full_url : order_) {
      const State& state = states_.at(full_url);
      if (state.resource == nullptr) {
        continue;
      }
      Node* resource = out_.copy(*state.resource);
      Node* entry = out_.make_object();
      if (as_first_sent(*resource)) {
        out_.append(entry, "status", out_.make_string(state.resource->string_at("status")));
      }
      out_.append(entry, "resource", resource);
      if (state.doubtful) {
        out_.append(entry, "doubtful", out_.make_boolean(true));
      }
      Document::append(list, entry);
    }
    state_.resources = out_.make_object();
    out_.append(state_.resources, "entry", list);
    return state_;
  }

 private:
  // As references of later revisions name it (changes.cc).
  static std::string place_of(const Node& resource) {
    const std::string type(resource.string_at("resourceType"));
    const Node* identifiers = resource.find("identifier");
    const Node* first =
        identifiers != nullptr && identifiers->is_array() ? identifiers->first : identifiers;
    return first == nullptr
               ? type + "/" + std::string(resource.string_at("id"))
               : type + "?" +
                     identifier_query(first->string_at("system"), first->string_at("value"));
  }

  void set(Node& text, std::string_view to) {
    const Node* made = out_.make_string(to);
    text.data = made->data;
    text.length = made->length;
  }

  void point_within(Node& node) {
    for (Node* child = node.first; child != nullptr; child = child->next) {
      if (child->is_string() && child->name_text() == "reference") {
        if (const auto found = urls_.find(child->text()); found != urls_.end()) {
          set(*child, found->second);
        }
      } else if (child->first != nullptr) {
        point_within(*child);
      }
    }
  }

  // True when its status was another.
  bool as_first_sent(Node& resource) {
    point_within(resource);
    Node* status = resource.find("status");
    if (status == nullptr || resource.string_at("resourceType") != "Observation" ||
        (status->text() != "corrected" && status->text() != "amended")) {
      return false;
    }
    set(*status, "final");
    return true;
  }

  Document& out_;
  SentState state_;
  std::map<std::string, State> states_;
  std::vector<std::string> order_;
  std::map<std::string, std::string, std::less<>> urls_;  // by place
};

}  // namespace

SentState sent_state(std::string_view sent, Document& out) {
  Document given(out.names());
  Fold fold(out);
  json::ParseLimits limits;
  limits.bytes_max = base::limits::kStoredBytesMax;
  bool whole = given.parse(sent, limits).has_value() && given.root()->is_array();
  if (whole) {
    for (const Node& one : *given.root()) {
      const Node* bundle = one.find("bundle");
      whole = whole && bundle != nullptr;
      if (bundle != nullptr) {
        fold.add(one, *bundle);
      }
    }
  }
  SentState state = fold.whole();
  state.unreadable = !whole;
  return state;
}

}  // namespace engine::therapy

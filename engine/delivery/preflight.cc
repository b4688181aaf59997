#include "engine/delivery/preflight.h"

#include <utility>

namespace engine::delivery {
namespace {

using Grade = Ability::Grade;
using json::Node;

constexpr std::size_t kShownBytesMax = 60;

// What a server writes is shown, so it is cut and kept from steering a terminal.
std::string shown(std::string_view text) {
  std::string out(text.substr(0, kShownBytesMax));
  for (char& c : out) {
    c = c < ' ' || c > '~' ? '?' : c;
  }
  return out;
}

bool says(const Node* list, std::string_view member, std::string_view wanted) {
  if (list == nullptr || !list->is_array()) {
    return false;
  }
  for (const Node& item : *list) {
    if ((member.empty() ? item.text() : item.string_at(member)) == wanted) {
      return true;
    }
  }
  return false;
}

bool is_true(const Node* object, std::string_view member) {
  const Node* value = object == nullptr ? nullptr : object->find(member);
  return value != nullptr && value->is_boolean() && value->boolean;
}

Ability row(bool there, Grade otherwise, std::string name, std::string found, std::string without) {
  return {there ? Grade::kThere : otherwise, std::move(name), std::move(found),
          there ? std::string() : std::move(without)};
}

class Judge {
 public:
  explicit Judge(const Node& statement) : statement_(statement) {
    const Node* rest = statement.find("rest");
    if (rest != nullptr && rest->is_array()) {
      for (const Node& one : *rest) {
        if (server_ == nullptr && one.string_at("mode") == "server") {
          server_ = &one;
        }
      }
    }
  }

  std::vector<Ability> rows() {
    whole();
    for (const std::string_view type : {"Observation", "Procedure", "Communication"}) {
      sent(type);
    }
    provenance();
    for (const std::string_view type : {"Patient", "Encounter", "Practitioner"}) {
      found_by_identifier(type, "the references to it cannot be resolved; sessions are held");
    }
    return std::move(rows_);
  }

 private:
  const Node* resource(std::string_view type) const {
    const Node* all = server_ == nullptr ? nullptr : server_->find("resource");
    if (all != nullptr && all->is_array()) {
      for (const Node& one : *all) {
        if (one.string_at("type") == type) {
          return &one;
        }
      }
    }
    return nullptr;
  }
  void add(Ability ability) { rows_.push_back(std::move(ability)); }

  void whole() {
    const std::string_view version = statement_.string_at("fhirVersion");
    add(row(version == "4.0" || version.starts_with("4.0."), Grade::kNeeded, "FHIR R4 (4.0)",
            shown(version), "the resources are R4; another version refuses or misreads them"));
    const Node* format = statement_.find("format");
    add(row(says(format, "", "json") || says(format, "", "application/fhir+json") ||
                says(format, "", "application/json"),
            Grade::kNeeded, "JSON", "", "chartferry speaks JSON only"));
    const Node* offered = server_ == nullptr ? nullptr : server_->find("interaction");
    const bool batch = says(offered, "code", "batch");
    add(row(
        says(offered, "code", "transaction"), Grade::kAbsent, "transaction", batch ? "batch" : "",
        std::string("a session lands in steps (") + (batch ? "batches" : "one resource at a time") +
            "), and is there in part until the last one"));
  }

  void sent(std::string_view type) {
    const std::string name(type);
    const Node* resource = this->resource(type);
    // Few sessions tell somebody something; the rest lands without it.
    const Grade grade = type == "Communication" ? Grade::kAbsent : Grade::kNeeded;
    add(row(resource != nullptr && says(resource->find("interaction"), "code", "create"), grade,
            name + ": create", "", "sessions with a " + name + " are refused and held"));
    if (resource == nullptr) {
      return;
    }
    add(row(is_true(resource, "conditionalCreate"), grade, name + ": conditional create", "",
            "sending again after an unknown outcome would double it"));
    add(row(is_true(resource, "conditionalUpdate"), Grade::kAbsent, name + ": conditional update",
            "", "later revisions of a session (corrections, additions) are held"));
    add(row(says(resource->find("interaction"), "code", "read"), Grade::kAbsent, name + ": read",
            "", "nobody can see what a later revision is written over: it is held"));
    const std::string_view versioning = resource->string_at("versioning");
    add(row(versioning.starts_with("versioned"), Grade::kAbsent, name + ": versions",
            shown(versioning),
            "the journal cannot name the version that landed, and what others write to it is "
            "overwritten"));
    found_by_identifier(type, "conditional create has nothing to look for");
  }

  // Provenance has no identifier in R4, so it is put under a name-based id.
  void provenance() {
    const Node* resource = this->resource("Provenance");
    add(row(is_true(resource, "updateCreate"), Grade::kAbsent, "Provenance: update as create", "",
            "sessions that need one (entries of assistants or patients, corrections) are held"));
  }

  void found_by_identifier(std::string_view type, std::string without) {
    const Node* resource = this->resource(type);
    add(row(resource != nullptr && says(resource->find("searchParam"), "name", "identifier"),
            Grade::kNeeded, std::string(type) + ": search by identifier", "", std::move(without)));
  }

  const Node& statement_;
  const Node* server_ = nullptr;
  std::vector<Ability> rows_;
};

}  // namespace

std::vector<Ability> judge_capabilities(const Node& statement) {
  return Judge(statement).rows();
}

Ability judge_search(int status) {
  const char* without = status == 401 ? "the sign-in is not accepted: look at authorization-file"
                        : status == 403
                            ? "the sign-in is accepted, but may not search"
                            : "a search for an identifier that nobody has must give 200";
  return row(status == 200, Grade::kNeeded, "search, with the sign-in given",
             "HTTP " + std::to_string(status), without);
}

Ability judge_transport(const BaseUrl& url) {
  return row(!url.in_clear(), Grade::kAbsent, "TLS",
             url.tls          ? "https"
             : url.in_clear() ? "http"
                              : "this machine",
             "readings of patients cross the network in the clear");
}

}  // namespace engine::delivery

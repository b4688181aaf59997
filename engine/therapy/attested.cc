#include "engine/therapy/attested.h"

#include <algorithm>
#include <utility>

namespace engine::therapy {

using json::Node;

namespace {

// Who, when, for which entry (none: for all). A list may grow: each id in it counts for itself.
std::string key_of(const Node& attestation, const Node* id) {
  std::string out = person_key(attestation.find("by"));
  out += '\n';
  out += attestation.string_at("time");
  if (id != nullptr) {
    out += '\n';
    out += id->text();
  }
  return out;
}

template <class Visit>
void each_attested(const Node& session, const Visit& visit) {
  const Node* list = session.find("attestation");
  for (const Node* one = list != nullptr ? list->first : nullptr; one != nullptr; one = one->next) {
    const Node* ids = one->find("entry");
    if (ids == nullptr) {
      visit(*one, nullptr);
    }
    for (const Node* id = ids != nullptr ? ids->first : nullptr; id != nullptr; id = id->next) {
      visit(*one, id);
    }
  }
}

}  // namespace

std::string person_key(const Node* person) {
  const Node* identifier = person != nullptr ? person->find("identifier") : nullptr;
  if (identifier != nullptr) {
    return std::string(identifier->string_at("system")) + "|" +
           std::string(identifier->string_at("value"));
  }
  return person != nullptr ? std::string(person->string_at("display")) : std::string();
}

void AttestationHistory::note(const Node& session, std::size_t revision) {
  each_attested(session, [&](const Node& attestation, const Node* id) {
    first.emplace(key_of(attestation, id), revision);
  });
}

Attested::Attested(const Node& session, const AttestationHistory& history) : history_(history) {
  std::unordered_map<std::string, std::size_t> of_all;
  each_attested(session, [&](const Node& attestation, const Node* id) {
    const auto first = history.first.find(key_of(attestation, id));
    const By by{person_key(attestation.find("by")),
                first != history.first.end() ? first->second : history.last};
    if (by.revision == history.last && (anew_.empty() || anew_.back() != attestation.find("by"))) {
      anew_.push_back(attestation.find("by"));
    }
    if (id == nullptr) {
      std::size_t& latest = of_all[by.person];
      latest = std::max(latest, by.revision);
    } else {
      of_entry_.emplace(id->text(), by);
    }
  });
  for (const auto& [person, revision] : of_all) {
    of_all_.insert(person);
    latest_of_all_.push_back({person, revision});
  }
  const auto two = static_cast<std::ptrdiff_t>(std::min<std::size_t>(2, latest_of_all_.size()));
  std::partial_sort(latest_of_all_.begin(), latest_of_all_.begin() + two, latest_of_all_.end(),
                    [](const By& a, const By& b) { return a.revision > b.revision; });
  latest_of_all_.resize(static_cast<std::size_t>(two));
}

bool Attested::stands(const By& by, const AttestationHistory::Since& since,
                      const std::string& author) {
  return by.person != author &&
         (by.revision >= since.revision || (!by.person.empty() && by.person == since.changed_by));
}

bool Attested::covers(const Node& entry, const Node* author) const {
  const std::string recorded_by = person_key(author);
  const auto found = history_.content.find(std::string(entry.string_at("id")));
  const AttestationHistory::Since since =
      found != history_.content.end() ? found->second : AttestationHistory::Since();
  const auto [from, to] = of_entry_.equal_range(entry.string_at("id"));
  const auto is_enough = [&](const By& by) { return stands(by, since, recorded_by); };
  return std::any_of(from, to, [&](const auto& one) { return is_enough(one.second); }) ||
         std::any_of(latest_of_all_.begin(), latest_of_all_.end(), is_enough) ||
         (!since.changed_by.empty() && since.changed_by != recorded_by &&
          of_all_.count(since.changed_by) > 0);
}

}  // namespace engine::therapy

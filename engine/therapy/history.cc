#include "engine/therapy/history.h"

#include <algorithm>
#include <map>
#include <vector>

#include "engine/json/write.h"
#include "engine/therapy/people.h"
#include "engine/therapy/rendering.h"
#include "engine/therapy/structure.h"

namespace engine::therapy {
namespace {

using json::Node;

constexpr const char* kMissingEntry = "missing-entry";

struct Known {
  std::string canonical;
  std::string issued;
  std::size_t revision = 0;  // where the entry was last seen
  AttestationHistory::Since since;
};
using Entries = std::unordered_map<std::string, Known>;

std::string_view id_of(const Node& entry) {
  return entry.string_at("id");
}

const Node* patient_identifier(const Node& session) {
  const Node* patient = session.find("patient");
  return patient != nullptr ? patient->find("identifier") : nullptr;
}

void take_withdrawals(const Node& session, std::unordered_set<std::string>& withdrawn) {
  if (const Node* list = session.find("withdrawal")) {
    for (const Node& withdrawal : *list) {
      withdrawn.emplace(withdrawal.string_at("entry"));
    }
  }
}

// A session's first revision: there is nothing that its entries could differ from.
void take_only(const Node& session, const std::string& accepted_at, History& history) {
  take_withdrawals(session, history.withdrawn);
  if (const Node* list = session.find("entry")) {
    for (const Node& entry : *list) {
      history.issued.emplace(id_of(entry), accepted_at);
      history.withdrawn.erase(std::string(id_of(entry)));
    }
  }
}

// Takes the entries and withdrawals of one revision into what is known.
void take(const Node& session, const std::string& accepted_at, std::size_t revision,
          Entries& entries, std::unordered_set<std::string>& withdrawn) {
  take_withdrawals(session, withdrawn);
  const Node* list = session.find("entry");
  if (list == nullptr) {
    return;
  }
  const Node* change = session.find("change");
  const std::string changed_by = person_key(change != nullptr ? change->find("author") : nullptr);
  for (const Node& entry : *list) {
    std::string canonical = json::to_canonical_text(entry);
    Known& known = entries[std::string(id_of(entry))];
    if (known.canonical != canonical) {
      known.since = {revision, known.canonical.empty() ? std::string() : changed_by};
      known.canonical = std::move(canonical);
      known.issued = accepted_at;
    }
    known.revision = revision;
    withdrawn.erase(std::string(id_of(entry)));
  }
}

// What was taken back with the whole session stays so unless it is said again.
void withdraw_all(const Entries& entries, std::unordered_set<std::string>& withdrawn) {
  for (const auto& [id, known] : entries) {
    withdrawn.insert(id);
  }
}

void sequence(const std::vector<std::uint32_t>& numbers, const Node& session, Report& report) {
  const std::size_t last = numbers.size() - 1;
  if (last > 0 && numbers[last] <= numbers[last - 1]) {
    report.error(
        "conflict", session,
        "A later send needs a higher revision than " + std::to_string(numbers[last - 1]) + ".");
  }
}

bool in_error(const Node& session) {
  return session.string_at("status") == "entered-in-error";
}

void ask_why_taken_back(const Node& session, Report& report) {
  report.hold("reason-missing", session,
              "This revision takes back the whole session: add change with a reason.",
              "reason-missing");
}

// The payer's record rule: a change to what was sent carries its reason.
void ask_reason(const Entries& before, const Entries& after, const Node& session, Report& report) {
  if (session.find("change") != nullptr) {
    return;
  }
  if (in_error(session)) {
    ask_why_taken_back(session, report);
    return;
  }
  for (const auto& [id, known] : before) {
    if (after.at(id).canonical != known.canonical) {
      report.hold("reason-missing", session,
                  "This revision changes entry '" + id +
                      "', which was sent before: add change "
                      "with a reason.",
                  "reason-missing");
      return;
    }
  }
}

// Whoever was treated stays the same: another patient's chart gets a session of its own, so that
// what the first one got by mistake is taken back there and not moved about.
void ask_which_patient(const Node& at, Report& report) {
  report.hold("patient-changed", at,
              "This revision names another patient than the one before. If the first was wrong, "
              "move the session: it is taken back there and entered anew. If both are one person, "
              "let this one go on.",
              "patient-changed");
}

void ask_patient(const std::string& earlier, const Node& session, Report& report) {
  const Node* identifier = patient_identifier(session);
  if (identifier != nullptr && !earlier.empty() && patient_of(session) != earlier) {
    ask_which_patient(*identifier, report);
  }
}

void hold_unreadable(const Node& session, History& history, Report& report) {
  if (!in_error(session)) {
    history.whole = false;
    report.hold(kNotAdmitted, session,
                "An earlier revision cannot be read any more, so nobody can tell which of its "
                "entries stay.");
  }
}

// Copies what a revision sent and no later one has into the document.
void carry(const Rendering& earlier, std::size_t revision, const Entries& entries,
           const Workshop& shop, json::Document& document, History& history, Report& report) {
  const Node* list = earlier.document.root()->find("entry");
  Node& session = *document.root();
  for (const Node* entry = list != nullptr ? list->first : nullptr; entry != nullptr;
       entry = entry->next) {
    const std::string id(id_of(*entry));
    const auto known = entries.find(id);
    if (known == entries.end() || known->second.revision != revision ||
        history.withdrawn.count(id) != 0) {
      continue;
    }
    Node* target = session.find("entry");
    if (target == nullptr) {
      target = document.make_array();
      document.append(&session, "entry", target);
    }
    Node* copied = document.copy(*entry);
    json::Document::append(target, copied);
    if (const std::string fault = fault_of_entry(document, *copied, *shop.model); !fault.empty()) {
      history.whole = false;
      report.hold(kNotAdmitted, session,
                  "Entry '" + id + "' of revision " + std::to_string(earlier.header.revision) +
                      " is missing now, so it stays as it was, and the profiles in force do not "
                      "admit its form: " +
                      fault + " Mend them and remap, or send the entry as they want it.",
                  kMissingEntry);
      continue;
    }
    report.warning("business-rule", session,
                   "Entry '" + id +
                       "' was sent before and is missing now: it stays as it was. "
                       "List it under withdrawal to take it back.",
                   kMissingEntry);
  }
}

// What revisions said that were never sent.
struct Unsent {
  std::unordered_set<std::string> withdrawn;  // that was not withdrawn before
  std::map<std::string, std::string> said;    // entry id -> canonical, of the last one's patient
  std::unordered_set<std::string> ids;        // of whatever they said or took back
  bool destroyed = false;                     // nobody can tell what some of them said

  void withdraw(const std::unordered_set<std::string>& list, History& history) {
    for (const std::string& id : list) {
      said.erase(id);
      ids.insert(id);
      if (history.withdrawn.insert(id).second) {
        withdrawn.insert(id);
      }
    }
  }
  // What only they took back and say again was never gone.
  void say(const Node& session, bool of_the_patient, History& history) {
    const Node* list = session.find("entry");
    for (const Node* entry = list != nullptr ? list->first : nullptr; entry != nullptr;
         entry = entry->next) {
      const std::string id(id_of(*entry));
      ids.insert(id);
      if (withdrawn.erase(id) > 0) {
        history.withdrawn.erase(id);
      }
      if (of_the_patient) {
        said[id] = json::to_canonical_text(*entry);
      }
    }
  }
};

Unsent take_unsent(const Revision& revision, const Workshop& shop, const Entries& entries,
                   History& history, const Node& session, Report& report) {
  Unsent out;
  for (const std::string& body : revision.unsent_before) {
    if (body.empty()) {
      out.destroyed = true;
      continue;
    }
    Rendering said(shop.model->catalog().names());
    read_earlier(body, shop, said);
    if (said.refused) {
      hold_unreadable(session, history, report);
      continue;
    }
    const Node& root = *said.document.root();
    std::unordered_set<std::string> withdrawn;
    take_withdrawals(root, withdrawn);
    if (in_error(root)) {
      withdraw_all(entries, withdrawn);
      out.said.clear();
    }
    out.withdraw(withdrawn, history);
    if (!in_error(root)) {
      out.say(root, said.header.patient_key == patient_of(session), history);
    }
  }
  return out;
}

// It is in no chart, and the sender, who was told that the revision is taken in, may think it is.
void ask_about_lost(const Unsent& unsent, const Entries& entries, std::size_t last,
                    const History& history, const Node& session, Report& report) {
  if (unsent.destroyed) {
    report.hold(kMissingEntry, session,
                "An earlier revision was never sent and was destroyed since: what it says or takes "
                "back is lost, unless this one has it. Let this one go on when it is whole.",
                kMissingEntry);
  }
  for (const auto& [id, canonical] : unsent.said) {
    const auto known = entries.find(id);
    const bool as_said = known != entries.end() &&
                         (known->second.revision == last || known->second.canonical == canonical);
    if (!as_said && history.withdrawn.count(id) == 0) {
      report.hold(kMissingEntry, session,
                  "Entry '" + id +
                      "' is missing now, and what an earlier revision says of it was never sent, "
                      "so it would be lost. Send the whole session, with the entry or with its "
                      "withdrawal; or let this one go on without it.",
                  kMissingEntry);
    }
  }
}

// Nobody but a revision that was never sent said why; the last one may say it in its own list.
void ask_why_unsent(const Unsent& unsent, const Entries& before, const History& history,
                    const Node& session, Report& report) {
  std::unordered_set<std::string> own;
  take_withdrawals(session, own);
  if (session.find("change") == nullptr && report.hold_reason().empty() &&
      std::any_of(unsent.withdrawn.begin(), unsent.withdrawn.end(), [&](const std::string& id) {
        return before.count(id) != 0 && history.withdrawn.count(id) != 0 && own.count(id) == 0;
      })) {
    report.hold("reason-missing", session,
                "A revision before this one, which was never sent, takes back what was: add change "
                "with a reason.",
                "reason-missing");
  }
}

bool same_but_for_case(std::string_view a, std::string_view b) {
  const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c | 0x20) : c; };
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [&](char one, char other) { return lower(one) == lower(other); });
}

// Of what a device withdraws before it was ever taken in nothing is known here. Where an entry is
// missing, or is called nearly so, another one is meant, and it would stay in the chart.
void ask_what_is_withdrawn(const Entries& before, const Unsent& unsent,
                           const std::unordered_set<std::string>& withdrawn, std::size_t last,
                           const Entries& entries, const Node& session, Report& report) {
  const Node* list = session.find("withdrawal");
  for (const Node* one = list != nullptr ? list->first : nullptr; one != nullptr; one = one->next) {
    const std::string id(one->string_at("entry"));
    if (before.count(id) != 0 || unsent.ids.count(id) != 0 || withdrawn.count(id) != 0) {
      continue;
    }
    const auto meant = std::find_if(entries.begin(), entries.end(), [&](const auto& entry) {
      return (entry.second.revision != last && withdrawn.count(entry.first) == 0) ||
             same_but_for_case(entry.first, id);
    });
    if (meant != entries.end()) {
      report.hold("unknown-entry", *one,
                  "Entry '" + id +
                      "' is withdrawn, and no revision has it, so nothing is taken back. Send its "
                      "right id; or let this one go on.",
                  "unknown-entry");
    } else {
      report.warning("business-rule", *one,
                     "Entry '" + id + "' is withdrawn, and no revision has it.", "unknown-entry");
    }
  }
}

}  // namespace

History merge_history(std::span<const Revision> revisions, const Workshop& shop,
                      json::Document& document, Report& report) {
  History history;
  const std::size_t last = revisions.size() - 1;
  Node& session = *document.root();
  if (last == 0 && revisions[0].unsent_before.empty()) {
    take_only(session, revisions[0].accepted_at, history);
    return history;
  }
  Entries entries;
  std::vector<std::unique_ptr<Rendering>> earlier;
  std::vector<std::uint32_t> numbers;
  for (std::size_t i = 0; i < last; ++i) {
    take_unsent(revisions[i], shop, entries, history, session, report);
    earlier.push_back(std::make_unique<Rendering>(document.names()));
    read_earlier(revisions[i].body, shop, *earlier.back());
    numbers.push_back(earlier.back()->header.revision);
    if (!earlier.back()->refused) {
      const Node& said = *earlier.back()->document.root();
      take(said, revisions[i].accepted_at, i, entries, history.withdrawn);
      history.attestations.note(said, i);
      if (in_error(said)) {
        withdraw_all(entries, history.withdrawn);
      }
    } else {
      hold_unreadable(session, history, report);
    }
  }
  const auto unsent = take_unsent(revisions[last], shop, entries, history, session, report);
  const Entries before = entries;
  const auto withdrawn_before = history.withdrawn;
  take(session, revisions[last].accepted_at, last, entries, history.withdrawn);
  history.attestations.note(session, last);
  history.attestations.last = last;
  if (const Node* number = session.find("revision")) {
    numbers.push_back(static_cast<std::uint32_t>(std::stoul(std::string(number->text()))));
    sequence(numbers, session, report);
  }
  if (last > 0) {
    ask_reason(before, entries, session, report);
    ask_patient(earlier.back()->header.patient_key, session, report);
  }
  ask_why_unsent(unsent, before, history, session, report);
  if (!in_error(session)) {
    if (last > 0) {
      ask_what_is_withdrawn(before, unsent, withdrawn_before, last, entries, session, report);
    }
    ask_about_lost(unsent, entries, last, history, session, report);
  }
  for (std::size_t i = 0; i < earlier.size(); ++i) {
    if (!earlier[i]->refused && !in_error(session)) {
      carry(*earlier[i], i, entries, shop, document, history, report);
    }
  }
  for (auto& [id, known] : entries) {
    history.issued.emplace(id, std::move(known.issued));
    history.attestations.content.emplace(id, std::move(known.since));
  }
  return history;
}

void ask_after_given_up(const Node& session, bool other_patient, Report& report) {
  if (in_error(session) && session.find("change") == nullptr) {
    ask_why_taken_back(session, report);
  }
  if (other_patient) {
    ask_which_patient(session, report);
  }
}

}  // namespace engine::therapy

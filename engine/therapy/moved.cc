#include "engine/therapy/moved.h"

#include <algorithm>
#include <string_view>

#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/therapy/history.h"
#include "engine/therapy/people.h"
#include "engine/therapy/rendering.h"

namespace engine::therapy {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using json::Document;
using json::Node;

constexpr std::string_view kOfThePatient[] = {"patient", "order", "earlier", "breathingSet"};
// Made anew in each of the two documents, or of one revision only.
constexpr std::string_view kOfTheRevision[] = {"revision", "status", "change", "withdrawal"};

template <std::size_t N>
bool among(const std::string_view (&names)[N], std::string_view name) {
  return std::find(std::begin(names), std::end(names), name) != std::end(names);
}

Result<Node*> make_identifier(Document& document, const std::string& text, std::string_view whose) {
  const std::size_t bar = text.find('|');
  if (bar == std::string::npos || bar == 0 || bar + 1 == text.size()) {
    return Error(ErrorCode::kInvalid,
                 "the " + std::string(whose) + " is given as SYSTEM|VALUE, both needed");
  }
  Node* identifier = document.make_object();
  document.append(identifier, "system", document.make_string(text.substr(0, bar)));
  document.append(identifier, "value", document.make_string(text.substr(bar + 1)));
  return identifier;
}

Node* make_change(Document& document, const Move& move) {
  Node* change = document.make_object();
  document.append(change, "reason", document.make_string(move.why));
  Node* author = document.make_object();
  document.append(author, "display", document.make_string(move.actor));
  document.append(author, "role", document.make_string(move.role));
  document.append(change, "author", author);
  document.append(change, "time", document.make_string(move.time));
  return change;
}

// The document as it was sent, so that everything it said stays readable.
std::string take_back(const Node& sent, std::uint32_t revision, const Move& move,
                      const json::NameTable& names) {
  Document document(names);
  Node* out = document.make_object();
  for (const Node& member : sent) {
    if (!among(kOfTheRevision, member.name_text())) {
      document.append(out, member.name_text(), document.copy(member));
    }
  }
  document.append(out, "revision", document.make_number(std::to_string(revision)));
  document.append(out, "status", document.make_string("entered-in-error"));
  document.append(out, "change", make_change(document, move));
  return json::to_text(*out);
}

// The right patient: what is known of them, with the identifiers that were asked for.
Result<Node*> make_patient(Document& document, const Node* known, const Move& move) {
  Node* patient = document.make_object();
  auto identifier = make_identifier(document, move.patient, "patient");
  if (!identifier) {
    return identifier;
  }
  document.append(patient, "identifier", *identifier);
  if (!move.encounter.empty()) {
    auto encounter = make_identifier(document, move.encounter, "stay");
    if (!encounter) {
      return encounter;
    }
    document.append(patient, "encounter", *encounter);
  }
  const Node* given = known != nullptr ? known->find("patient") : nullptr;
  for (const Node* member = given != nullptr ? given->first : nullptr; member != nullptr;
       member = member->next) {
    if (patient->find(member->name_text()) == nullptr) {
      document.append(patient, member->name_text(), document.copy(*member));
    }
  }
  return patient;
}

Result<std::string> enter(const Node& whole, const Node* known, const Move& move,
                          const json::NameTable& names) {
  Document document(names);
  Node* out = document.make_object();
  for (const Node& member : whole) {
    const std::string_view name = member.name_text();
    if (name == "identifier") {
      Node* identifier = document.make_object();
      const std::string old(member.string_at("value"));
      document.append(identifier, "system", document.make_string(member.string_at("system")));
      document.append(identifier, "value",
                      document.make_string(move.as.empty() ? old + "-moved" : move.as));
      document.append(out, name, identifier);
    } else if (name == "status") {
      document.append(out, name, document.copy(member));
    } else if (!among(kOfTheRevision, name) && !among(kOfThePatient, name) &&
               name != "attestation") {
      document.append(out, name, document.copy(member));
    }
  }
  document.append(out, "revision", document.make_number("1"));
  document.append(out, "change", make_change(document, move));
  auto patient = make_patient(document, known, move);
  if (!patient) {
    return patient.error();
  }
  document.append(out, "patient", *patient);
  for (const Node* member = known != nullptr ? known->first : nullptr; member != nullptr;
       member = member->next) {
    if (member->name_text() != "patient") {
      document.append(out, member->name_text(), document.copy(*member));
    }
  }
  return json::to_text(*out);
}

// Reads into `sent` the revision that is to be taken back: of those charted the newest that is on
// another patient, else, when one in doubt is, the newest, for it decides which patient a later
// revision may name.
Result<void> choose_wrong(const Movable& session, const std::string& right, Document& sent) {
  const Revision* wrong = nullptr;
  bool is_charted = true;
  for (const std::vector<Revision>* list : {&session.charted, &session.in_doubt}) {
    for (const Revision& one : *list) {
      Document document(sent.names());
      if (!document.parse(one.body)) {
        return Error(ErrorCode::kCorrupt, "a revision of the session cannot be read any more");
      }
      if (wrong == nullptr && patient_of(*document.root()) != right) {
        wrong = &one;
        is_charted = list == &session.charted;
      }
    }
  }
  if (wrong == nullptr) {
    return Error(ErrorCode::kInvalid, "the session is on this patient already");
  }
  if (!is_charted && !session.charted.empty()) {
    wrong = &session.charted.front();
  }
  return sent.parse(wrong->body);
}

Result<const Node*> read_known(const std::string& text, Document& document) {
  if (text.empty()) {
    return nullptr;
  }
  if (!document.parse(text) || !document.root()->is_object() || !document.duplicates().empty()) {
    return Error(ErrorCode::kInvalid, "what is known of the right patient is no JSON object");
  }
  for (const Node& member : *document.root()) {
    if (!among(kOfThePatient, member.name_text())) {
      return Error(
          ErrorCode::kInvalid,
          "of the right patient only patient, order, earlier and breathingSet can be given",
          std::string(member.name_text()));
    }
  }
  return document.root();
}

}  // namespace

Result<Moved> move_session(const Movable& session, const Move& move, const Workshop& shop) {
  const json::NameTable& names = shop.model->catalog().names();
  Document known_document(names);
  const auto known = read_known(move.known, known_document);
  if (!known) {
    return known.error();
  }
  const std::string& newest = session.said.back().body;
  Rendering last(names);
  read_earlier(newest, shop, last);
  if (last.refused) {
    return Error(ErrorCode::kCorrupt, "a revision of the session cannot be read any more");
  }
  Document sent(names);
  if (auto chosen = choose_wrong(session, move.patient, sent); !chosen) {
    return std::move(chosen).error();
  }
  if (last.header.in_error) {
    return Error(ErrorCode::kConflict,
                 "its last revision takes the whole session back; where that one is held, "
                 "withdraw it first");
  }
  Moved moved;
  moved.taken_back = take_back(*sent.root(), session.next, move, names);
  Report unheard(newest, last.issues);
  if (!merge_history(session.said, shop, last.document, unheard).whole) {
    return Error(ErrorCode::kInvalid,
                 "the profiles in force do not admit all that earlier revisions hold");
  }
  auto entered = enter(*last.document.root(), *known, move, names);
  if (!entered) {
    return entered.error();
  }
  moved.entered = std::move(*entered);
  return moved;
}

}  // namespace engine::therapy

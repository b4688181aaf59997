#include "engine/therapy/moved.h"

#include <algorithm>
#include <string_view>

#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/therapy/history.h"
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

// The last document as it was sent, so that everything it said stays readable.
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

Result<Moved> move_session(std::span<const Revision> revisions, const Move& move,
                           const Workshop& shop) {
  const json::NameTable& names = shop.model->catalog().names();
  Document known_document(names);
  const auto known = read_known(move.known, known_document);
  if (!known) {
    return known.error();
  }
  Rendering last(names);
  read_session(revisions.back().body, shop, last);
  if (last.refused) {
    return Error(ErrorCode::kCorrupt, "a revision of the session cannot be read any more");
  }
  if (last.header.patient_key == move.patient) {
    return Error(ErrorCode::kInvalid, "the session is on this patient already");
  }
  if (last.header.in_error) {
    return Error(ErrorCode::kConflict, "the whole session was taken back before");
  }
  Document sent(names);
  if (!sent.parse(revisions.back().body)) {
    return Error(ErrorCode::kCorrupt, "a revision of the session cannot be read any more");
  }
  Moved moved;
  moved.taken_back = take_back(*sent.root(), last.header.revision + 1, move, names);
  Report unheard(revisions.back().body, last.issues);
  merge_history(revisions, shop, last.document, unheard);
  auto entered = enter(*last.document.root(), *known, move, names);
  if (!entered) {
    return entered.error();
  }
  moved.entered = std::move(*entered);
  return moved;
}

}  // namespace engine::therapy

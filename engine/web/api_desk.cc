// The routes that the desk reads from: search of the traffic, one message, the log, what a record
// server can do. What is searched for stands in a body: addresses end up in logs.

#include <algorithm>
#include <array>
#include <charconv>
#include <limits>
#include <utility>

#include "engine/journal/words.h"
#include "engine/json/document.h"
#include "engine/web/api.h"
#include "engine/web/asked.h"
#include "engine/web/desk_view.h"

namespace engine::web {
namespace {

constexpr const char* kJson = "application/json";

constexpr std::uint64_t kPositionMax = std::numeric_limits<std::int64_t>::max();

// "" when the member is absent.
base::Result<std::string> hidden_at(const json::Node& object, std::string_view name,
                                    const journal::SearchKey& key) {
  const json::Node* one = object.find(name);
  if (one == nullptr) {
    return std::string();
  }
  const bool whole = one->is_object() && !one->string_at("system").empty() &&
                     !one->string_at("value").empty() && one->count == 2;
  if (!whole) {
    return base::Error(
        base::ErrorCode::kInvalid,
        "'" + std::string(name) + "' is {\"system\", \"value\"}, both of the identifier");
  }
  return key.hide(std::string(one->string_at("system")) + "|" +
                  std::string(one->string_at("value")));
}

// The engine's id of a session, as base::to_string() writes a UUID.
bool is_id(std::string_view text) {
  constexpr std::string_view kForm = "xxxxxxxx-xxxx-xxxx-xxxx-xxxxxxxxxxxx";
  return text.size() == kForm.size() &&
         std::equal(text.begin(), text.end(), kForm.begin(), [](char c, char wanted) {
           return wanted == '-' ? c == '-' : (c >= '0' && c <= '9') || (c >= 'a' && c <= 'f');
         });
}

base::Result<void> read_kinds(const std::string& state, const std::string& kind, DeskSearch& out) {
  if (!state.empty()) {
    out.state = journal::leg_state_of(state);
    if (!out.state) {
      return base::Error(base::ErrorCode::kInvalid,
                         "'state' is accepted, checked, dispatched, landed, held, superseded or "
                         "withdrawn");
    }
  }
  if (!kind.empty()) {
    out.kind = journal::kind_of(kind);
    if (!out.kind) {
      return base::Error(base::ErrorCode::kInvalid,
                         "'kind' is a kind of record, as docs/formats/journal.md lists them");
    }
  }
  return {};
}

base::Result<DeskSearch> read_search(const std::string& body, const journal::SearchKey& key) {
  static const json::NameTable names;
  json::Document document(names);
  if (!document.parse(body).has_value() || !document.root()->is_object()) {
    return base::Error(base::ErrorCode::kInvalid, "send a JSON object with what to search for");
  }
  const json::Node& wish = *document.root();
  if (auto good = check_members(wish, {"session", "patient", "therapist", "target", "state", "kind",
                                       "since", "until", "before"});
      !good) {
    return good.error();
  }
  DeskSearch search;
  std::string state;
  std::string kind;
  const std::array<std::pair<base::Result<std::string>, std::string*>, 8> texts = {
      {{text_at(wish, "session"), &search.session},
       {text_at(wish, "target"), &search.target},
       {text_at(wish, "state"), &state},
       {text_at(wish, "kind"), &kind},
       {hidden_at(wish, "patient", key), &search.patient},
       {hidden_at(wish, "therapist", key), &search.therapist},
       {instant_at(wish, "since"), &search.since},
       {instant_at(wish, "until"), &search.until}}};
  for (const auto& [text, place] : texts) {
    auto good = text ? journal::check_line(*text) : text.error();
    if (!good) {
      return good.error();
    }
    *place = *text;
  }
  const auto before = whole_at(wish, "before", kPositionMax);
  if (!before) {
    return before.error();
  }
  search.before = *before;
  if (!search.session.empty() && !is_id(search.session)) {
    return base::Error(base::ErrorCode::kInvalid,
                       "'session' is the engine's id of one, a UUID in lower case");
  }
  if (auto good = read_kinds(state, kind, search); !good) {
    return good.error();
  }
  return search;
}

// A journal that contradicts itself is an answer and not a passing trouble.
Response audit_error(const base::Error& error) {
  return error.code == base::ErrorCode::kCorrupt ? problem(500, "exception", error.text())
                                                 : from_error(error);
}

}  // namespace

void Api::post_traffic(Request& request, const Segments&, const Answer& answer) {
  const auto search = read_search(request.body, world_.search_key);
  if (!search) {
    answer(problem(400, "structure", search.error().detail));
    return;
  }
  auto view = messages_view(world_.journal.store(), *search);
  if (!view) {
    answer(from_error(view.error()));
    return;
  }
  Response response(200, kJson, std::move(*view));
  if (search->patient.empty()) {
    answer(std::move(response));
    return;
  }
  // That somebody is treated here, and when, is already a patient's matter.
  journal::Record record;
  record.patient = search->patient;
  record.why = "search of a patient's messages";
  answer_noted(request, std::move(record), std::move(response), answer);
}

void Api::get_message(Request& request, const Segments& at, const Answer& answer) {
  std::uint32_t revision = 0;
  const std::string& text = at[3];
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), revision);
  if (error != std::errc() || end != text.data() + text.size() || revision == 0) {
    answer(problem(404, "not-found", "a revision is a number from 1"));
    return;
  }
  auto view = message_view(world_.journal.store(), at[1], revision);
  if (!view) {
    answer(from_error(view.error()));
    return;
  }
  journal::Record record;
  record.session = at[1];
  record.revision = revision;
  record.why = "message with all that became of it";
  answer_noted(request, std::move(record), Response(200, kJson, std::move(*view)), answer);
}

// Holds what people wrote as reasons, and so perhaps something about a patient.
void Api::post_log(Request& request, const Segments&, const Answer& answer) {
  const auto search = read_search(request.body, world_.search_key);
  if (!search) {
    answer(problem(400, "structure", search.error().detail));
    return;
  }
  auto view = log_view(world_.journal.store(), *search);
  if (!view) {
    answer(from_error(view.error()));
    return;
  }
  journal::Record record;
  record.session = search->session;
  record.patient = search->patient;
  record.why = "the log";
  answer_noted(request, std::move(record), Response(200, kJson, std::move(*view)), answer);
}

// A record's head holds hashes, states and what people wrote as reasons.
void Api::post_proof(Request& request, const Segments&, const Answer& answer) {
  static const json::NameTable names;
  json::Document document(names);
  if (!document.parse(request.body).has_value() || !document.root()->is_object()) {
    answer(problem(400, "structure", "send {\"position\": the number of a record}"));
    return;
  }
  const auto position = whole_at(*document.root(), "position", kPositionMax);
  if (!position) {
    answer(problem(400, "structure", position.error().detail));
    return;
  }
  request.body.clear();
  world_.audit.prove(*position, [this, request, answer](base::Result<std::string> told) {
    if (!told) {
      answer(audit_error(told.error()));
      return;
    }
    journal::Record record;
    record.why = "proof of a record";
    answer_noted(request, std::move(record), Response(200, kJson, std::move(*told)), answer);
  });
}

void Api::post_verify(Request&, const Segments&, const Answer& answer) {
  world_.audit.verify([answer](base::Result<std::string> told) {
    answer(told ? Response(200, kJson, std::move(*told)) : audit_error(told.error()));
  });
}

void Api::post_replay(Request& request, const Segments&, const Answer& answer) {
  const auto search = read_search(request.body, world_.search_key);
  if (!search) {
    answer(problem(400, "structure", search.error().detail));
    return;
  }
  world_.audit.replay(search->since, search->until, [answer](base::Result<std::string> told) {
    answer(told ? Response(200, kJson, std::move(*told)) : audit_error(told.error()));
  });
}

void Api::post_preflight(Request&, const Segments& at, const Answer& answer) {
  world_.preflight(at[1], [answer](base::Result<std::string> report) {
    if (report) {
      answer(Response(200, kJson, std::move(*report)));
    } else if (report.error().code == base::ErrorCode::kPeer) {
      answer(problem(502, "exception", report.error().text()));
    } else {
      answer(from_error(report.error()));
    }
  });
}

}  // namespace engine::web

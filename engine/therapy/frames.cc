#include "engine/therapy/frames.h"

#include <algorithm>
#include <string>
#include <unordered_map>
#include <utility>
#include <vector>

#include "engine/base/hash.h"
#include "engine/therapy/attested.h"
#include "engine/therapy/clock_text.h"
#include "engine/therapy/ids.h"
#include "engine/therapy/people.h"
#include "engine/therapy/rendering.h"
#include "engine/therapy/steps.h"

namespace engine::therapy {
namespace {

using base::Result;
using json::Document;
using json::Node;

bool needs_attestation(const Node* author) {
  const std::string_view role = author != nullptr ? author->string_at("role") : std::string_view();
  return role == "assistant" || role == "student";
}

// A copy of a node of the document whose texts both share: it is made for every entry.
Node* shared_copy(Document& document, const Node& node) {
  Node* to = document.arena().make<Node>();
  to->kind = node.kind;
  to->boolean = node.boolean;
  to->data = node.data;
  to->length = node.length;
  to->offset = json::kNoOffset;
  for (const Node& child : node) {
    if (node.is_object()) {
      Document::append(to, child.name, shared_copy(document, child));
    } else {
      Document::append(to, shared_copy(document, child));
    }
  }
  return to;
}

void append_person(Document& document, Node* object, std::string_view member, const Node* person) {
  if (person != nullptr) {
    document.append(object, member, shared_copy(document, *person));
  }
}

// Reasons of what was stopped: by the activity's id; "" is the session.
std::unordered_map<std::string_view, std::string_view> stops_of(const Node& session) {
  std::unordered_map<std::string_view, std::string_view> stops;
  const Node* entries = session.find("entry");
  for (const Node* entry = entries != nullptr ? entries->first : nullptr; entry != nullptr;
       entry = entry->next) {
    if (const Node* stopped = entry->find("stopped")) {
      stops.emplace(stopped->string_at("activity"), stopped->string_at("reason"));
    }
  }
  return stops;
}

void session_frame(Document& document, std::string_view accepted_at, std::string_view stop,
                   bool stopped) {
  Node& session = *document.root();
  Node* frame = document.make_object();
  const bool closed = session.string_at("status") == "closed";
  document.append(
      frame, "procedureStatus",
      document.make_string(stopped ? "stopped" : (closed ? "completed" : "in-progress")));
  if (stopped) {
    document.append(frame, "statusReason", document.make_string(stop));
  }
  document.append(frame, "issued", document.make_string(accepted_at));
  Node* authors = document.make_array();
  if (const Node* therapist = session.find("therapist")) {
    Document::append(authors, shared_copy(document, *therapist));
  }
  if (const Node* handovers = session.find("handover")) {
    for (const Node& handover : *handovers) {
      if (const Node* to = handover.find("to")) {
        Document::append(authors, shared_copy(document, *to));
      }
    }
  }
  document.append(frame, "author", authors);
  document.append(&session, "frame", frame);
}

// Each time that says when something was, of a node of the document: the texts.
std::vector<std::string_view> times_of(const Node& node) {
  std::vector<std::string_view> out = {node.string_at("time"), node.string_at("recordedAt")};
  if (const Node* period = node.find("period")) {
    out.push_back(period->string_at("start"));
    out.push_back(period->string_at("end"));
  }
  return out;
}

// A day without a time of day is over nowhere before it is over everywhere.
bool lies_behind(const Node& node, std::int64_t latest_ms) {
  constexpr std::int64_t kDayMs = 24 * 60 * kMinuteMs;
  const auto times = times_of(node);
  return std::any_of(times.begin(), times.end(), [latest_ms](std::string_view text) {
    const auto moment = parse_moment(text);
    return moment && latest_ms + (moment->has_time ? 0 : kDayMs) < moment->milliseconds;
  });
}

}  // namespace

void check_future(const Node& session, std::string_view accepted_at, const Settings& settings,
                  Report& report) {
  const auto now = parse_moment(accepted_at);
  if (!now) {
    return;
  }
  const std::int64_t latest = now->milliseconds + settings.future_minutes * kMinuteMs;
  const auto ask = [&](const Node& node, const char* what) {
    if (lies_behind(node, latest)) {
      report.hold("time-in-future", node,
                  std::string(what) +
                      " lies in the future: correct its time, or the clock it "
                      "came from.",
                  "time-in-future");
    }
  };
  ask(session, "The session's time");
  static constexpr std::pair<const char*, const char*> kLists[] = {
      {"entry", "This entry"},
      {"handover", "This handover"},
      {"attestation", "This attestation"},
      {"earlier", "This earlier value"},
      {"breathingSet", "This set"},
  };
  for (const auto& [member, what] : kLists) {
    if (const Node* list = session.find(member)) {
      for (const Node& node : *list) {
        ask(node, what);
      }
    }
  }
  if (const Node* change = session.find("change")) {
    ask(*change, "The change");
  }
}

void prepare_frames(Document& document, const History& history, std::string_view accepted_at,
                    Report& report) {
  Node& session = *document.root();
  const auto stops = stops_of(session);
  const auto whole = stops.find(std::string_view());
  session_frame(document, accepted_at, whole != stops.end() ? whole->second : std::string_view(),
                whole != stops.end());
  const base::Uuid space = session_space(step_text(&session, {"identifier", "system"}),
                                         step_text(&session, {"identifier", "value"}));
  const std::string session_id = "urn:uuid:" + base::to_string(entry_role_id(space, "", "session"));
  const bool closed = session.string_at("status") == "closed";
  const People people(session);
  const Attested attested(session, history.attestations);
  Node* entries = session.find("entry");
  for (Node* entry = entries != nullptr ? entries->first : nullptr; entry != nullptr;
       entry = entry->next) {
    Node* frame = document.make_object();
    const Node* author = people.author_of(*entry);
    append_person(document, frame, "author", author);
    const bool preliminary = needs_attestation(author) && !attested.covers(*entry, author);
    if (preliminary && closed) {
      report.information("informational", *entry,
                         "Recorded by an assistant or a student and not attested as it reads now: "
                         "it lands as preliminary.",
                         "attestation");
    }
    document.append(frame, "status", document.make_string(preliminary ? "preliminary" : "final"));
    const auto stop = stops.find(entry->string_at("id"));
    const bool stopped = stop != stops.end();
    document.append(
        frame, "procedureStatus",
        document.make_string(stopped ? "stopped" : (closed ? "completed" : "in-progress")));
    if (stopped) {
      document.append(frame, "statusReason", document.make_string(stop->second));
    }
    const auto issued = history.issued.find(std::string(entry->string_at("id")));
    document.append(
        frame, "issued",
        document.make_string(issued != history.issued.end() ? issued->second : accepted_at));
    const std::string_view during = entry->string_at("during");
    Node* part = document.make_object();
    const std::string target =
        during.empty() ? session_id
                       : "urn:uuid:" + base::to_string(entry_role_id(space, during, "activity"));
    document.append(part, "reference", document.make_string(target));
    document.append(frame, "part", part);
    document.append(entry, "frame", frame);
  }
}

Result<void> add_frames(Rendering& rendering, const Workshop& shop) {
  const SessionModel& model = *shop.model;
  Node& session = *rendering.document.root();
  const mapping::Binding whole[] = {
      mapping::Binding::of_source(session, model.session()),
      mapping::Binding::of_target(*session.find("frame"), model.session_frame())};
  Result<void> made = rendering.run->call(shop.groups.session_frame, whole);
  if (!made) {
    return made;
  }
  Node* entries = session.find("entry");
  for (Node* entry = entries != nullptr ? entries->first : nullptr; entry != nullptr;
       entry = entry->next) {
    const mapping::Binding bindings[] = {
        mapping::Binding::of_source(session, model.session()),
        mapping::Binding::of_source(*entry, model.entry()),
        mapping::Binding::of_target(*entry->find("frame"), model.entry_frame())};
    made = rendering.run->call(shop.groups.entry_frame, bindings);
    if (!made) {
      return made;
    }
  }
  return {};
}

}  // namespace engine::therapy

#include "engine/web/view_text.h"

#include <chrono>

#include "engine/base/seams.h"
#include "engine/delivery/conflict.h"
#include "engine/delivery/pieces.h"
#include "engine/intake/steering.h"
#include "engine/json/write.h"

namespace engine::web {
namespace {

using journal::Leg;
using journal::LegState;

std::string instant_of(std::int64_t ms) {
  return base::to_instant(std::chrono::system_clock::time_point(std::chrono::milliseconds(ms)));
}

}  // namespace

void member(std::string& out, std::string_view name, std::string_view value) {
  if (out.back() != '{') {
    out += ',';
  }
  json::write_string(name, out);
  out += ':';
  json::write_string(value, out);
}

void number(std::string& out, std::string_view name, std::uint64_t value) {
  if (out.back() != '{') {
    out += ',';
  }
  json::write_string(name, out);
  out += ':' + std::to_string(value);
}

std::string reason_text(const Leg& leg) {
  std::string out(intake::reason_text(leg.reason));
  if (leg.state == LegState::kHeld && leg.bundle == 0) {
    out += " (the revision that superseded it was withdrawn: remap it; it cannot be released as it "
           "was made)";
  }
  return out;
}

std::string leg_view(const journal::Store& store, const Leg& leg, bool with_landing) {
  std::string out = "{";
  member(out, "target", leg.target);
  member(out, "state", journal::name_of(leg.state));
  if (!leg.reason.empty() && leg.state != LegState::kLanded) {
    member(out, "reason", leg.reason);
    member(out, "reasonText", reason_text(leg));
  }
  number(out, "attempts", leg.attempts);
  if (leg.due_ms > 0) {
    member(out, "next", instant_of(leg.due_ms));
  }
  if (with_landing && leg.state == LegState::kLanded) {
    if (const auto landing = store.part(leg.changed, "landing")) {
      out += ",\"landing\":" + *landing;
    }
  }
  const auto conflicts = delivery::conflicts_of(store, leg);
  if (with_landing && conflicts && !conflicts->empty()) {
    out += ",\"conflict\":" + delivery::to_text(*conflicts);
  }
  if (const std::string detail = delivery::too_large_sentence(store, leg); !detail.empty()) {
    member(out, "detail", detail);
  }
  return out + "}";
}

std::string legs_view(const journal::Store& store, const std::vector<Leg>& legs,
                      std::uint32_t revision, bool with_landing) {
  std::string out = "[";
  for (const Leg& leg : legs) {
    if (leg.revision == revision) {
      out += (out.size() > 1 ? "," : "") + leg_view(store, leg, with_landing);
    }
  }
  return out + "]";
}

}  // namespace engine::web

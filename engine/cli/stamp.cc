#include "engine/cli/stamp.h"

#include <string_view>

namespace engine::cli {
namespace {

void take_later(std::string_view time, std::string& latest) {
  // Texts with one offset order as their moments do; a default stamp needs no more.
  if (time.size() > 10 && time > latest) {
    latest = time;
  }
}

}  // namespace

std::string default_stamp(const json::Node& session) {
  std::string latest;
  const auto take = [&latest](const json::Node& node) {
    take_later(node.string_at("time"), latest);
    take_later(node.string_at("recordedAt"), latest);
    if (const json::Node* period = node.find("period")) {
      take_later(period->string_at("start"), latest);
      take_later(period->string_at("end"), latest);
    }
  };
  take(session);
  for (const char* member : {"entry", "handover", "attestation"}) {
    const json::Node* list = session.find(member);
    for (const json::Node* node = list != nullptr ? list->first : nullptr; node != nullptr;
         node = node->next) {
      take(*node);
    }
  }
  if (const json::Node* change = session.find("change")) {
    take(*change);
  }
  return latest.empty() ? "1970-01-01T00:00:00Z" : latest;
}

}  // namespace engine::cli

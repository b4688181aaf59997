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
  const auto take_period = [&latest](const json::Node* period) {
    if (period != nullptr) {
      take_later(period->string_at("start"), latest);
      take_later(period->string_at("end"), latest);
    }
  };
  take_period(session.find("period"));
  if (const json::Node* entries = session.find("entry")) {
    for (const json::Node& entry : *entries) {
      take_later(entry.string_at("time"), latest);
      take_period(entry.find("period"));
    }
  }
  return latest.empty() ? "1970-01-01T00:00:00Z" : latest;
}

}  // namespace engine::cli

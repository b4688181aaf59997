#include "engine/therapy/people.h"

#include <algorithm>

namespace engine::therapy {

using json::Node;

std::string_view start_text(const Node& entry) {
  const std::string_view time = entry.string_at("time");
  const Node* period = entry.find("period");
  return !time.empty() || period == nullptr ? time : period->string_at("start");
}

std::string patient_of(const Node& session) {
  const Node* patient = session.find("patient");
  const Node* identifier = patient != nullptr ? patient->find("identifier") : nullptr;
  return identifier == nullptr ? std::string()
                               : std::string(identifier->string_at("system")) + "|" +
                                     std::string(identifier->string_at("value"));
}

People::People(const Node& session) : therapist_(session.find("therapist")) {
  const Node* handovers = session.find("handover");
  for (const Node* one = handovers != nullptr ? handovers->first : nullptr; one != nullptr;
       one = one->next) {
    if (const auto at = parse_moment(one->string_at("time"))) {
      handovers_.push_back({*at, handovers_.size(), one->find("to")});
    }
  }
  std::stable_sort(handovers_.begin(), handovers_.end(),
                   [](const Handover& a, const Handover& b) { return a.at < b.at; });
  for (std::size_t i = 1; i < handovers_.size(); ++i) {
    if (handovers_[i].place < handovers_[i - 1].place) {
      handovers_[i].place = handovers_[i - 1].place;
      handovers_[i].to = handovers_[i - 1].to;
    }
  }
}

const Node* People::author_of(const Node& entry) const {
  if (const Node* recorded_by = entry.find("recordedBy")) {
    return recorded_by;
  }
  const auto when = handovers_.empty() ? std::nullopt : parse_moment(start_text(entry));
  if (!when) {
    return therapist_;
  }
  const auto after =
      std::upper_bound(handovers_.begin(), handovers_.end(), *when,
                       [](const Moment& moment, const Handover& one) { return moment < one.at; });
  return after == handovers_.begin() ? therapist_ : std::prev(after)->to;
}

}  // namespace engine::therapy

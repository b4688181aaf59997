#include "engine/delivery/reference_order.h"

#include <utility>

namespace engine::delivery {

using json::Node;

void ReferenceOrder::add(std::string_view full_url, Node& resource) {
  entries_.push_back({std::string(full_url), 0});
  if (!full_url.empty()) {
    ++names_[entries_.back().full_url].to_land;
  }
  collect(resource);
}

// As deep as JSON may be, see limits::kJsonDepthMax.
void ReferenceOrder::collect(Node& node) {
  for (Node* child = node.first; child != nullptr; child = child->next) {
    if (child->is_string() && child->name_text() == "reference") {
      std::string text(child->text());
      if (text.find('?') != std::string::npos) {
        searches_.insert(text);
      }
      Name& name = names_[std::move(text)];
      name.mentions.push_back(child);
      name.entries.insert(entries_.size() - 1);
    } else if (child->first != nullptr) {
      collect(*child);
    }
  }
}

void ReferenceOrder::settle() {
  for (const auto& [text, name] : names_) {
    for (const std::size_t entry : name.entries) {
      // Whoever refers to itself does not wait for it.
      const bool waits = name.to_land > 0 && entries_[entry].full_url != text;
      entries_[entry].waits_for += waits ? 1 : 0;
    }
  }
}

void ReferenceOrder::landed(std::size_t entry) {
  const auto found = names_.find(entries_[entry].full_url);
  if (found == names_.end() || found->second.to_land == 0 || --found->second.to_land > 0) {
    return;
  }
  for (const std::size_t other : found->second.entries) {
    if (entries_[other].full_url != found->first) {
      --entries_[other].waits_for;
    }
  }
}

void ReferenceOrder::point_to(json::Document& document, std::string_view from,
                              std::string_view resource) {
  const auto found = names_.find(from);
  if (found == names_.end()) {
    return;
  }
  for (Node* mention : found->second.mentions) {
    const Node* made = document.make_string(resource);
    mention->data = made->data;
    mention->length = made->length;
  }
}

}  // namespace engine::delivery

#pragma once
// Who recorded each entry of a session. Read once, so that a session with many entries and
// handovers costs no more than its length.

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "engine/json/node.h"
#include "engine/therapy/clock_text.h"

namespace engine::therapy {

// When an entry began, as text.
std::string_view start_text(const json::Node& entry);

// "system|value" of whoever was treated; "" when the session does not say.
std::string patient_of(const json::Node& session);

class People {
 public:
  // `session` is the document's root and outlives this.
  explicit People(const json::Node& session);

  // Itself says so, else whoever had the session at that time: of the handovers until then, the
  // last one in the document.
  const json::Node* author_of(const json::Node& entry) const;

 private:
  struct Handover {
    Moment at;
    std::size_t place = 0;  // in the document
    const json::Node* to = nullptr;
  };
  const json::Node* therapist_;
  // By time; each with the one that is last in the document of those until then.
  std::vector<Handover> handovers_;
};

}  // namespace engine::therapy

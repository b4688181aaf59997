#pragma once
// Reading back what is on a record server: one resource by its name, or the one that a search for
// an identifier finds. Pure: the calls to make, and what their answers say.

#include <cstddef>
#include <string>
#include <string_view>

#include "engine/delivery/peer.h"

namespace engine::delivery {

// `place`: "Observation/17", or "Observation?identifier=..." as in ifNoneExist. A search goes by
// POST, so that nothing it looks for is in a URL (FHIR R4 search.html).
Call call_for(std::string_view place, std::string request_id);

struct Sight {
  enum class Kind {
    kThere,
    kAbsent,     // never there, or deleted and found no more
    kGone,       // deleted, and the server says so
    kSeveral,    // a search has several matches
    kForbidden,  // may be written and not read, or not searched
    kOther,      // a search was answered with what it did not ask for
  };
  Kind kind = Kind::kAbsent;
  std::string resource;  // "Observation/17" of what is there
  std::string etag;      // empty when the server does not say
  std::string content;   // empty when it was cut
};
// False when the answer says nothing about the place: the server is away, or busy; or it answers a
// search with something else (kOther). What is found has the type and the identifier that the
// search names, and is all that there is: it becomes the subject of what is sent.
bool read_sight(std::string_view place, const Reply& reply, Sight& sight);

}  // namespace engine::delivery

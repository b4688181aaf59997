#pragma once
// What somebody else did to a resource that is ours, and how it is told apart from a write of ours
// whose answer was lost: the version alone does not tell, the content does.

#include <functional>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::delivery {

// A resource that is not as the journal says that it landed.
struct Conflict {
  std::string full_url;
  std::string resource;
  std::string expected;  // etag; empty when no version of ours is known
  std::string found;     // etag; empty when the server does not say, or has deleted it
  bool gone = false;
};
// JSON array, the part "conflict" of a record.
std::string to_text(const std::vector<Conflict>& conflicts);
// Errors: kCorrupt.
base::Result<std::vector<Conflict>> parse_conflicts(std::string_view text);
// What a leg is held for, or what its landing found; none when that is something else.
// Errors: kIo, kCorrupt of the journal.
base::Result<std::vector<Conflict>> conflicts_of(const journal::Store& store,
                                                 const journal::Leg& leg);
// For the person who has to decide. Names resources and versions and nothing of their content.
std::string to_sentence(const Conflict& conflict);

// What conditional references ("Patient?identifier=...") name on the server; "" when nothing there
// is meant by one.
using References = std::map<std::string, std::string, std::less<>>;

// Whether a resource that the server gave is what the one that was sent says, no less and no more.
// What a server settles does not count: id, meta, narrative, how references are written, and the
// digits of a number beyond its value. A conditional reference that nobody has looked up (the
// server does not let search) is compared by its type alone.
bool is_as_sent(std::string_view server_resource, std::string_view sent_resource,
                const References& references = {});

// Whether a resource that the server gave has an identifier of the one that was sent: without, it
// may be another thing, whatever its id and version.
bool is_of_same_name(std::string_view server_resource, std::string_view sent_resource);

// W/"2" and "2" are the same version here: a server writes both.
bool same_version(std::string_view a, std::string_view b);

}  // namespace engine::delivery

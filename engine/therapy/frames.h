#pragma once
// The frame of a session and of each of its entries: what follows from people, revisions and
// attestations, put into the source tree so that the maps can copy it. Which code or resource it
// becomes is for the maps to say.

#include <string_view>

#include "engine/base/result.h"
#include "engine/json/document.h"
#include "engine/therapy/history.h"
#include "engine/therapy/report.h"
#include "engine/therapy/settings.h"

namespace engine::therapy {

struct Rendering;
struct Workshop;

// Times ahead of the clock of the intake are held.
void check_future(const json::Node& session, std::string_view accepted_at, const Settings& settings,
                  Report& report);

// Appends `frame` to the session and to every entry: author, statuses, when it became available.
void prepare_frames(json::Document& document, const History& history, std::string_view accepted_at,
                    Report& report);

// Lets the map "frame" complete them with references.
base::Result<void> add_frames(Rendering& rendering, const Workshop& shop);

}  // namespace engine::therapy

#pragma once
// The samples that a mapping set must pass before it may be in force: those that came with the
// program, and those in the site's own folder (samples/NAME.session.json, and NAME.bundle.json
// beside it where the site says what must come out).

#include <string>

#include "engine/therapy/translate.h"

namespace engine::cli {

// Whether a translation was refused, or held for what the maps did. What a person must confirm is
// the document's own.
bool is_fault(const therapy::Translation& made);

// "" when all pass; else the first that does not, and why: a map fails on it, a code has no
// translation, what was made does not conform, or it is not what the site expects. `site_mappings`
// is the site's folder, or empty.
std::string failing_sample(const therapy::Translator& translator, const std::string& site_mappings);

}  // namespace engine::cli

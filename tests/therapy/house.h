#pragma once
// A translator made of the profiles and maps of the source tree, for tests.

#include <memory>
#include <string>
#include <string_view>

#include "engine/therapy/translate.h"

namespace engine::therapy::testing {

// The texts of the source tree: mappings/ without samples and overlays, profiles r4, session and
// therapy.
Sources house_sources();
// Made once a process.
const Translator& house();

std::string read_text(const std::string& path);
std::string sample(std::string_view name);  // mappings/samples/<name>.session.json
// The text with the first `from` replaced by `to`; fails the test when it is not there.
std::string replaced(std::string text, std::string_view from, std::string_view to);

// The way of one first send.
Translation translate_one(const std::string& body,
                          const std::string& accepted_at = "2026-03-02T09:41:00.000Z");

}  // namespace engine::therapy::testing

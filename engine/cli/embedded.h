#pragma once
// The texts that came with the program: profiles/ and mappings/, so that it works without any files
// around. Names are relative to their folder ("r4/types.facts"), sorted. The bytes live as long as
// the program.

#include <span>
#include <string_view>

#include "engine/base/seams.h"

namespace engine::cli {

std::span<const base::SourceView> embedded_profiles();
// Those below one folder of profiles/: "r4", "us-core", "therapy", "session". Empty when there is
// no such folder.
std::span<const base::SourceView> embedded_profiles(std::string_view folder);
std::span<const base::SourceView> embedded_mappings();

}  // namespace engine::cli

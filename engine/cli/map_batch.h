#pragma once
// chartferry map --batch: a map and its source on each line.

namespace engine::cli {
int run_map_batch();
}  // namespace engine::cli

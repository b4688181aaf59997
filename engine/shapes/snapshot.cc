#include "engine/shapes/snapshot.h"

namespace engine::shapes {

base::Result<ShapeFacts> generate_snapshot(const ShapeFacts& differential, const SnapshotContext&) {
  return base::Error(base::ErrorCode::kUnsupported, "no snapshot", std::string(differential.url));
}

}  // namespace engine::shapes

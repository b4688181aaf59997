#include "engine/base/result.h"

namespace engine::base {

std::string_view name_of(ErrorCode code) {
  switch (code) {
    case ErrorCode::kInvalid:
      return "invalid";
    case ErrorCode::kOutOfRange:
      return "out-of-range";
    case ErrorCode::kLimit:
      return "limit";
    case ErrorCode::kNotFound:
      return "not-found";
    case ErrorCode::kConflict:
      return "conflict";
    case ErrorCode::kUnsupported:
      return "unsupported";
    case ErrorCode::kUnitMismatch:
      return "unit-mismatch";
    case ErrorCode::kCorrupt:
      return "corrupt";
    case ErrorCode::kIo:
      return "io";
    case ErrorCode::kPeer:
      return "peer";
    case ErrorCode::kTimeout:
      return "timeout";
    case ErrorCode::kCancelled:
      return "cancelled";
  }
  return "unknown";
}

std::string Error::text() const {
  if (where.empty()) {
    return detail;
  }
  return detail + " (" + where + ")";
}

}  // namespace engine::base

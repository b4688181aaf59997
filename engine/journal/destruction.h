#pragma once
// What a record of the kinds `shredded` and `expired` destroyed, kept as its part `destroyed`: ids
// of data keys, and records whose parts were removed. One line each, `key HEX` and `records FIRST
// LAST`. The store destroys it in the transaction that writes the record, and only that.

#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/record.h"

namespace engine::journal {

inline constexpr std::string_view kDestroyedPart = "destroyed";

struct Span {
  Position first = 0;
  Position last = 0;
};

struct Destruction {
  std::vector<std::string> keys;  // ids, as bytes
  std::vector<Span> records;      // rising, apart: see joined()
  bool empty() const { return keys.empty() && records.empty(); }
  bool holds(Position position) const;
};

// Spans in any order, which may overlap, as rising ones that do not.
std::vector<Span> joined(std::vector<Span> spans);

std::string print(const Destruction& destruction);
// Errors: kCorrupt for anything but what print() gives.
base::Result<Destruction> parse_destruction(std::string_view text);

// Whether a record of this kind has such a part.
inline bool destroys(Kind kind) {
  return kind == Kind::kShredded || kind == Kind::kExpired;
}

}  // namespace engine::journal

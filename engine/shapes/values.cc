#include "engine/shapes/values.h"

#include <algorithm>
#include <bit>
#include <functional>

namespace engine::shapes {

std::int32_t CodeTable::find(std::string_view code) const {
  if (slots_.empty()) {
    return -1;
  }
  const std::size_t mask = slots_.size() - 1;
  for (std::size_t i = std::hash<std::string_view>()(code) & mask;; i = (i + 1) & mask) {
    const std::uint32_t slot = slots_[i];
    if (slot == 0) {
      return -1;
    }
    if (codes_[slot - 1] == code) {
      return static_cast<std::int32_t>(slot - 1);
    }
  }
}

void CodeTable::reserve(std::size_t count) {
  codes_.reserve(count);
  if (count * 2 > slots_.size()) {
    rehash(std::bit_ceil(count * 2 + 1));
  }
}

std::uint32_t CodeTable::add(std::string_view code) {
  if (const std::int32_t known = find(code); known >= 0) {
    return static_cast<std::uint32_t>(known);
  }
  codes_.push_back(code);
  if (codes_.size() * 2 > slots_.size()) {
    rehash(std::bit_ceil(codes_.size() * 4));
    return static_cast<std::uint32_t>(codes_.size() - 1);
  }
  const std::size_t mask = slots_.size() - 1;
  std::size_t i = std::hash<std::string_view>()(code) & mask;
  while (slots_[i] != 0) {
    i = (i + 1) & mask;
  }
  slots_[i] = static_cast<std::uint32_t>(codes_.size());
  return static_cast<std::uint32_t>(codes_.size() - 1);
}

void CodeTable::rehash(std::size_t capacity) {
  slots_.assign(capacity, 0);
  const std::size_t mask = capacity - 1;
  for (std::size_t n = 0; n < codes_.size(); ++n) {
    std::size_t i = std::hash<std::string_view>()(codes_[n]) & mask;
    while (slots_[i] != 0) {
      i = (i + 1) & mask;
    }
    slots_[i] = static_cast<std::uint32_t>(n + 1);
  }
}

bool CodeSystem::is_below(std::string_view code, std::string_view ancestor) const {
  const std::int32_t wanted = codes.find(ancestor);
  const std::int32_t start = codes.find(code);
  if (wanted < 0 || start < 0) {
    return false;
  }
  std::vector<std::int32_t> above{start};  // every code once, so a cycle ends
  for (std::size_t i = 0; i < above.size(); ++i) {
    if (above[i] == wanted) {
      return true;
    }
    auto climb = [&above](std::int32_t to) {
      if (to >= 0 && std::find(above.begin(), above.end(), to) == above.end()) {
        above.push_back(to);
      }
    };
    climb(parent[static_cast<std::size_t>(above[i])]);
    for (const auto& [child, further] : also_below) {
      if (static_cast<std::int32_t>(child) == above[i]) {
        climb(static_cast<std::int32_t>(further));
      }
    }
  }
  return false;
}

namespace {

Membership contains_in_part(const ValueSetPart& part, std::string_view code) {
  switch (part.kind) {
    case ValueSetPart::Kind::kCodes:
      return part.codes.find(code) >= 0 ? Membership::kIn : Membership::kOut;
    case ValueSetPart::Kind::kWholeSystem:
      if (part.code_system != nullptr && part.code_system->has(code)) {
        return Membership::kIn;
      }
      return part.code_system != nullptr && part.code_system->complete ? Membership::kOut
                                                                       : Membership::kUnknown;
    case ValueSetPart::Kind::kUnknown:
      break;
  }
  return Membership::kUnknown;
}

}  // namespace

Membership ValueSet::contains(std::string_view system, std::string_view code) const {
  if (system.empty()) {
    return Membership::kOut;
  }
  bool unknown = false;
  for (const ValueSetPart& part : parts) {
    if (part.system != system && !part.system.empty()) {
      continue;
    }
    const Membership here = contains_in_part(part, code);
    if (here == Membership::kIn) {
      return here;
    }
    unknown |= here == Membership::kUnknown;
  }
  return unknown ? Membership::kUnknown : Membership::kOut;
}

Membership ValueSet::contains_code(std::string_view code) const {
  bool unknown = false;
  for (const ValueSetPart& part : parts) {
    const Membership here = contains_in_part(part, code);
    if (here == Membership::kIn) {
      return here;
    }
    unknown |= here == Membership::kUnknown;
  }
  return unknown ? Membership::kUnknown : Membership::kOut;
}

std::vector<std::string_view> ValueSet::sample(std::size_t max) const {
  std::vector<std::string_view> codes;
  for (const ValueSetPart& part : parts) {
    const CodeTable* table = &part.codes;
    if (part.kind == ValueSetPart::Kind::kWholeSystem && part.code_system != nullptr) {
      table = &part.code_system->codes;
    }
    for (const std::string_view code : table->codes()) {
      if (codes.size() >= max) {
        return codes;
      }
      codes.push_back(code);
    }
  }
  return codes;
}

}  // namespace engine::shapes

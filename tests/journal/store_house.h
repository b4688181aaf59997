#pragma once
// The stores that the conformance tests run against, each in a place of its own that ends with the
// test.

#include <memory>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/store.h"

namespace engine::journal {

class StoreHouse {
 public:
  virtual ~StoreHouse() = default;
  // Why this store cannot be tested here; "" when it can.
  virtual std::string missing() const { return {}; }
  // The same journal at each call.
  base::Result<std::unique_ptr<Store>> open() { return open(OpenMode::kEngine, nullptr); }
  virtual base::Result<std::unique_ptr<Store>> open(OpenMode mode,
                                                    std::shared_ptr<const Sealing> sealing) = 0;
  virtual std::string location() const = 0;
};

struct HouseKind {
  const char* name;
  std::unique_ptr<StoreHouse> (*make)();
};
std::vector<HouseKind> all_houses();

}  // namespace engine::journal

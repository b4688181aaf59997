#pragma once
// The plausibility table (profiles/session/plausibility.json): what each reading of a session
// document can be, in three grades. Impossible is refused; improbable asks a person to confirm;
// what is noteworthy is shown. Screening bands of scores are no plausibility limits. Immutable
// after load.

#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "engine/base/decimal.h"
#include "engine/base/result.h"
#include "engine/json/document.h"
#include "engine/shapes/types.h"
#include "engine/ucum/ucum.h"

namespace engine::therapy {

struct Band {
  std::optional<base::Decimal> low;
  std::optional<base::Decimal> high;
  bool holds(const base::Decimal& value) const {
    return (!low || *low <= value) && (!high || value <= *high);
  }
  std::string text() const;  // "60 to 100"
};

struct Datum {
  struct ByDevice {
    std::string device;
    Band band;
  };
  struct Suspect {
    Band band;
    std::string unit;  // only when the value came in this unit; empty: any
    std::string probably;
  };
  std::string id;
  std::string display;
  std::vector<std::string> units;  // UCUM codes allowed; empty for plain numbers
  std::string compare_in;
  ucum::Unit compare_unit;
  Band refuse;
  std::optional<Band> confirm;
  std::vector<ByDevice> confirm_by_device;
  std::vector<Suspect> suspects;
  std::vector<base::Decimal> values;               // when not empty: only these
  std::optional<base::Decimal> change_by;          // in compare_in
  std::optional<base::Decimal> change_by_percent;  // of the earlier value
  int change_minutes = 0;
  std::optional<base::Decimal> over_predicted_percent;
  std::optional<base::Decimal> over_ordered_times;
};

class PlausibilityTable {
 public:
  // `session` is the root type of the document. Errors: kInvalid naming the row, for an element
  // that the model does not have or a unit that is none.
  static base::Result<PlausibilityTable> load(std::string_view text, const shapes::TypeModel& types,
                                              const json::NameTable& names, shapes::TypeId session);

  // The row for an element, found by the member that carries it; nullptr when there is none.
  const Datum* find(const shapes::Member* member) const {
    const auto found = by_member_.find(member);
    return found == by_member_.end() ? nullptr : &data_[found->second];
  }
  const Datum* find(std::string_view id) const;

 private:
  std::vector<Datum> data_;
  std::unordered_map<const shapes::Member*, std::size_t> by_member_;
};

}  // namespace engine::therapy

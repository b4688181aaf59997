#pragma once
// One reading against its row of the plausibility table, and what a quantity must have.

#include <optional>
#include <string>
#include <string_view>

#include "engine/base/decimal.h"
#include "engine/json/document.h"
#include "engine/therapy/plausibility.h"
#include "engine/therapy/report.h"

namespace engine::therapy {

// A bare number (a score, a count). Refuses the impossible.
void check_number(const json::Node& node, const Datum& datum, Report& report);

// A Quantity: value and UCUM unit must be there, unit, system and code must agree, the unit must be
// one that the row allows. Fills in system and code where only the unit was sent. Refuses the
// impossible; asks where the value is improbable and the entry is not `confirmed`. datum may be
// nullptr: then any valid UCUM unit will do.
void complete_quantity(json::Document& document, json::Node& quantity, const Datum* datum,
                       Report& report);

// The value of a quantity in the row's unit of comparison, or in `unit`; nullopt when it has none.
std::optional<base::Decimal> value_in(const json::Node* quantity, std::string_view unit);

// True when what the node belongs to (its entry, the patient, the order, an earlier session)
// carries `confirmed`.
bool is_confirmed(const json::Node& node);

// Something improbable at the node: held until a person confirms or corrects it, shown when one
// has. `text` is a whole sentence; `rule` is the row of the plausibility table.
void ask(const json::Node& at, std::string_view rule, std::string text, Report& report);

}  // namespace engine::therapy

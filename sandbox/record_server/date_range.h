#pragma once
// FHIR date, dateTime and instant texts as ranges of time, for search (FHIR R4 search, "date"): a
// text of partial precision covers everything it may mean.

#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <string_view>

namespace sandbox::record_server {

// Milliseconds since 1970-01-01T00:00:00Z, low inclusive, high exclusive.
struct DateRange {
  std::int64_t low = std::numeric_limits<std::int64_t>::min();
  std::int64_t high = std::numeric_limits<std::int64_t>::max();
};

// A date without a zone counts as UTC. nullopt when the text is none of the three types.
std::optional<DateRange> parse_date_range(std::string_view text);
// "Wed, 25 Nov 2026 13:00:00 GMT" (RFC 9110 section 5.6.7).
std::string to_http_date(std::int64_t milliseconds);

}  // namespace sandbox::record_server

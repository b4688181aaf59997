#pragma once
// The date transforms: toDate, toDateTime, toTime with a format, unixToDate and unixToDateTime.
// Source: the later mapping language's replacement of dateOp. Format letters: yyyy MM dd HH hh mm
// ss S a Z, anything else stands for itself.

#include <cstdint>
#include <string>
#include <string_view>

#include "engine/base/result.h"

namespace engine::mapping {

enum class TemporalKind : std::uint8_t { kDate, kDateTime, kTime };

// A text in the given format as a FHIR date, dateTime or time. Without a format the text is FHIR's
// form already, and a dateTime is cut to the part that is asked. A dateTime with a time but without
// a zone is an error, since FHIR asks for one. Errors: kInvalid.
base::Result<std::string> reformat_temporal(std::string_view text, std::string_view format,
                                            TemporalKind kind);

// Seconds since 1970-01-01T00:00:00Z, shown in a zone "+01:00" (default Z). Errors: kInvalid,
// kOutOfRange.
base::Result<std::string> from_unix_ticks(std::string_view ticks, std::string_view zone,
                                          TemporalKind kind);

}  // namespace engine::mapping

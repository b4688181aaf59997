#pragma once
// What a patient sends from the phone view of a sheet: sets done and readings taken, and what was
// ticked by mistake. Read strictly; whether a value can be is the intake's to say. Pure.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/json/node.h"

namespace engine::web {

// Milliseconds since 1970 of a FHIR dateTime with seconds and an offset; nullopt when it is none.
std::optional<std::int64_t> milliseconds_of(std::string_view time);

struct SheetEntry {
  std::string id;
  std::string time;
  std::int64_t at_ms = 0;
  std::string kind;  // the entry's kind as a member: "\"vitals\":{...}"
};

struct SheetReport {
  std::vector<SheetEntry> entries;
  std::vector<std::string> taken_back;  // ids of entries that the patient did not mean
};

// {"entries":[{"id","time","set":{"breaths","best"}} | {"id","time","reading":{"saturation",
// "pulse"}}],"takenBack":["id"]}; breaths are counted, best is whole millilitres, saturation is
// percent, pulse is per minute. Errors: kInvalid, kLimit, with the place and what is allowed.
base::Result<SheetReport> read_report(const json::Node& body);

}  // namespace engine::web

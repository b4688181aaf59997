#pragma once
// Batch modes: JSON lines in on standard input, one JSON line out for each, in order. What is ready
// is written before the command waits for more input, so another program may ask one line at a
// time.

#include <functional>
#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/json/document.h"

namespace engine::cli {

// Appends the members of the answer to `out`, each with a comma before it: `,"valid":true`. The
// line's id is written by run_batch. An Error becomes the member "error".
using BatchAnswer = std::function<base::Result<void>(const json::Node& request, std::string& out)>;

// Serves until the input ends. A line that is no JSON object gets {"id":null,"error":...}; empty
// lines are passed over. Returns kOk, or kUsage when reading or writing failed.
int run_batch(const json::NameTable& names, const BatchAnswer& answer);

// A member as ,"name":"text" with JSON's escapes.
void append_member(std::string_view name, std::string_view text, std::string& out);

}  // namespace engine::cli

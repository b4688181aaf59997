#pragma once
// A time of intake for documents that nobody took in: samples, and files on the command line.

#include <string>

#include "engine/json/node.h"

namespace engine::cli {

// The last time that the session document itself names; the beginning of 1970 when it names none.
std::string default_stamp(const json::Node& session);

}  // namespace engine::cli

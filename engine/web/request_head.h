#pragma once
// Whether the head of a request leaves no doubt about what it asks for and where its body ends (RFC
// 9112 sections 3.2 and 6.3). Where two readers may differ, whoever stands between them can slip a
// request past the first one. Pure.

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/web/http_message.h"

namespace engine::web {

// The path and query that the head asks for: its target, or of "http://HOST/path" what follows the
// host, which the Host header has to name as well. Nothing when the head is to be refused: several
// Host headers, none in HTTP/1.1 (`version` 11), a transfer coding that is not "chunked" or comes
// with a length, another form of target.
std::optional<std::string> place_of(const Request& head, unsigned version);

// Whether the value of a Host header, with or without a port, is one of the names; in any case.
bool is_named(std::string_view host, const std::vector<std::string>& names);

}  // namespace engine::web

#pragma once
// Printing JSON trees. Number text is written as it was read; strings follow RFC 8785's rules (only
// the quotation mark, the backslash and control characters are escaped, everything else is UTF-8 as
// it stands).

#include <string>
#include <string_view>

#include "engine/json/node.h"

namespace engine::json {

// Compact, members in document order.
void write(const Node& node, std::string& out);
// The same as long as `out` has at most so many bytes; otherwise false, and what `out` holds is no
// JSON.
bool write_within(const Node& node, std::size_t bytes_max, std::string& out);
std::string to_text(const Node& node);
// Two spaces an indent, one member a line; for people.
std::string to_pretty_text(const Node& node);
// For hashing: compact, members sorted by the UTF-16 code units of their names (RFC 8785), number
// text kept (plain RFC 8785 would turn 2.00 into 2, and in FHIR the digits are data).
std::string to_canonical_text(const Node& node);
// SHA-256 of that, hex: the same content whatever its layout.
std::string canonical_hash(const Node& node);
// A JSON string literal with its quotation marks.
void write_string(std::string_view text, std::string& out);

// RFC 6901 pointer of a node from its root: "/entry/3/vitals". Empty for the root.
std::string pointer_of(const Node& node);

// Same value: kinds, texts, order of arrays; members in any order; numbers by their text.
bool deep_equal(const Node& a, const Node& b);

}  // namespace engine::json

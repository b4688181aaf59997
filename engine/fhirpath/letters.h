#pragma once
// Text as Unicode scalar values in UTF-8: counting, cutting, and case. Case folding covers Latin
// (through Extended-A and the additional block), Greek, Cyrillic and Armenian, one scalar for one;
// other scripts of this world have no case or are left as they are. From memory of the Unicode
// blocks.

#include <cstddef>
#include <string>
#include <string_view>

namespace engine::fhirpath {

std::string to_lower(std::string_view text);
std::string to_upper(std::string_view text);
// The same text when case does not count and every white space character is one space.
bool equal_loosely(std::string_view a, std::string_view b);

// Bytes of the sequence that starts at text[at]; 1 where it is not valid.
std::size_t sequence_length(std::string_view text, std::size_t at);
// The byte offset of the scalar with this index; text.size() when there are not so many.
std::size_t offset_of_scalar(std::string_view text, std::size_t index);

}  // namespace engine::fhirpath

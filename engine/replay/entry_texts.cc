#include "engine/replay/entry_texts.h"

#include <cstddef>
#include <optional>
#include <string_view>
#include <unordered_set>
#include <utility>
#include <vector>

namespace engine::replay {
namespace {

constexpr std::string_view kEntry = "\"entry\":[";

struct Entries {
  std::string_view head;  // up to and with the bracket that opens the array
  std::string_view tail;  // from the bracket that closes it
  std::vector<std::string_view> all;
};

// Behind the quotation mark that ends the string which begins at `at`; npos when none does.
std::size_t behind_string(std::string_view text, std::size_t at) {
  for (++at; at < text.size(); ++at) {
    if (text[at] == '\\') {
      ++at;
    } else if (text[at] == '"') {
      return at + 1;
    }
  }
  return std::string_view::npos;
}

// Behind the value or member that begins at `at`: where a comma or a bracket of the outside stands.
std::size_t behind_value(std::string_view text, std::size_t at) {
  for (std::size_t depth = 0; at < text.size();) {
    const char c = text[at];
    if (c == '"') {
      at = behind_string(text, at);
      continue;
    }
    if (depth == 0 && (c == ',' || c == ']' || c == '}')) {
      return at;
    }
    depth += c == '{' || c == '[' ? 1U : 0U;
    depth -= c == '}' || c == ']' ? 1U : 0U;
    ++at;
  }
  return std::string_view::npos;
}

std::optional<Entries> entries_of(std::string_view text) {
  std::size_t at = text.empty() || text[0] != '{' ? std::string_view::npos : 1;
  while (at < text.size() && !text.substr(at).starts_with(kEntry)) {
    at = behind_value(text, at);
    if (at >= text.size() || text[at] != ',') {
      return std::nullopt;
    }
    ++at;
  }
  if (at >= text.size()) {
    return std::nullopt;
  }
  at += kEntry.size();
  Entries out;
  out.head = text.substr(0, at);
  while (at < text.size() && text[at] != ']') {
    const std::size_t end = behind_value(text, at);
    if (end >= text.size() || text[end] == '}') {
      return std::nullopt;
    }
    out.all.push_back(text.substr(at, end - at));
    at = text[end] == ',' ? end + 1 : end;
  }
  if (at >= text.size()) {
    return std::nullopt;
  }
  out.tail = text.substr(at);
  return out;
}

std::string without(const Entries& entries, const std::unordered_set<std::string_view>& known) {
  std::string out(entries.head);
  for (const std::string_view entry : entries.all) {
    if (known.count(entry) == 0) {
      out += out.back() == '[' ? "" : ",";
      out += entry;
    }
  }
  return out.append(entries.tail);
}

}  // namespace

void keep_entries_that_differ(std::string& before, std::string& after) {
  const auto old_entries = entries_of(before);
  const auto new_entries = entries_of(after);
  if (!old_entries || !new_entries) {
    return;
  }
  std::string old_text = without(*old_entries, {new_entries->all.begin(), new_entries->all.end()});
  after = without(*new_entries, {old_entries->all.begin(), old_entries->all.end()});
  before = std::move(old_text);
}

}  // namespace engine::replay

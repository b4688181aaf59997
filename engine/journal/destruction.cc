#include "engine/journal/destruction.h"

#include <algorithm>
#include <charconv>

#include "engine/base/hash.h"
#include "engine/journal/seal.h"

namespace engine::journal {
namespace {

// Both numbers of "FIRST LAST".
bool read_span(std::string_view text, Span& out) {
  const char* const end = text.data() + text.size();
  const auto [space, error] = std::from_chars(text.data(), end, out.first);
  if (error != std::errc() || space == end || *space != ' ') {
    return false;
  }
  const auto [done, problem] = std::from_chars(space + 1, end, out.last);
  return problem == std::errc() && done == end && out.first > 0 && out.first <= out.last;
}

// The bytes of an id in hexadecimal; "" for anything else.
std::string read_id(std::string_view hex) {
  const auto twice = digest_from_hex(std::string(hex) + std::string(hex));
  return twice ? std::string(twice->begin(), twice->begin() + kKeyIdBytes) : std::string();
}

}  // namespace

bool Destruction::holds(Position position) const {
  const auto after =
      std::upper_bound(records.begin(), records.end(), position,
                       [](Position wanted, const Span& span) { return wanted < span.first; });
  return after != records.begin() && std::prev(after)->last >= position;
}

std::vector<Span> joined(std::vector<Span> spans) {
  std::sort(spans.begin(), spans.end(),
            [](const Span& a, const Span& b) { return a.first < b.first; });
  std::vector<Span> out;
  for (const Span& span : spans) {
    if (!out.empty() && span.first <= out.back().last + 1) {
      out.back().last = std::max(out.back().last, span.last);
    } else {
      out.push_back(span);
    }
  }
  return out;
}

std::string print(const Destruction& destruction) {
  std::string out;
  for (const std::string& id : destruction.keys) {
    out.append("key ").append(base::to_hex(id)).append("\n");
  }
  for (const Span& span : destruction.records) {
    out.append("records ").append(std::to_string(span.first)).append(" ");
    out.append(std::to_string(span.last)).append("\n");
  }
  return out;
}

base::Result<Destruction> parse_destruction(std::string_view text) {
  Destruction out;
  for (int number = 1; !text.empty(); ++number) {
    const std::size_t end = text.find('\n');
    const std::string_view line = text.substr(0, end);
    bool good = end != std::string_view::npos;
    if (good && line.substr(0, 4) == "key ") {
      out.keys.push_back(read_id(line.substr(4)));
      good = !out.keys.back().empty();
    } else if (good && line.substr(0, 8) == "records ") {
      Span span;
      good = read_span(line.substr(8), span) &&
             (out.records.empty() || out.records.back().last < span.first);
      out.records.push_back(span);
    } else {
      good = false;
    }
    if (!good) {
      return base::Error(base::ErrorCode::kCorrupt, "a list of what was destroyed is not readable",
                         "line " + std::to_string(number));
    }
    text.remove_prefix(end + 1);
  }
  return out;
}

}  // namespace engine::journal

#include "engine/fhirpath/regex.h"

#include <algorithm>
#include <vector>

#include "engine/base/limits.h"
#include "engine/fhirpath/letters.h"

namespace engine::fhirpath {
namespace {

// Named groups are written (?<name>...) in the specification's flavour and (?P<name>...) in RE2's.
std::string with_re2_groups(std::string_view pattern) {
  std::string out;
  out.reserve(pattern.size() + 8);
  for (std::size_t i = 0; i < pattern.size(); ++i) {
    if (pattern[i] == '\\' && i + 1 < pattern.size()) {
      out.append(pattern.substr(i, 2));
      ++i;
      continue;
    }
    const std::string_view rest = pattern.substr(i);
    if (rest.starts_with("(?<") && !rest.starts_with("(?<=") && !rest.starts_with("(?<!")) {
      out.append("(?P<");
      i += 2;
      continue;
    }
    out.push_back(pattern[i]);
  }
  return out;
}

// The group that a `$` at text[at] names, and where the text goes on. -1: no reference.
int group_at(const re2::RE2& regex, std::string_view with, std::size_t at, std::size_t& next) {
  const std::string_view rest = with.substr(at + 1);
  if (!rest.empty() && rest.front() >= '0' && rest.front() <= '9') {
    next = at + 2;
    return rest.front() - '0';
  }
  const std::size_t close = rest.find('}');
  if (rest.empty() || rest.front() != '{' || close == std::string_view::npos) {
    return -1;
  }
  const auto& names = regex.NamedCapturingGroups();
  const auto found = names.find(std::string(rest.substr(1, close - 1)));
  next = at + 2 + close;
  return found == names.end() ? -1 : found->second;
}

// Taken from the letters alone: one that is only meant as itself counts as well.
bool repeats_without_end(std::string_view pattern) {
  return pattern.find_first_of("*+") != std::string_view::npos ||
         pattern.find(",}") != std::string_view::npos;
}

void append_replacement(const re2::RE2& regex, const std::vector<re2::StringPiece>& groups,
                        std::string_view with, std::string& out) {
  for (std::size_t i = 0; i < with.size();) {
    std::size_t next = i + 1;
    const int group = with[i] == '$' ? group_at(regex, with, i, next) : -1;
    if (group >= 0 && static_cast<std::size_t>(group) < groups.size()) {
      const re2::StringPiece& piece = groups[static_cast<std::size_t>(group)];
      out.append(piece.data() == nullptr ? "" : piece.data(), piece.size());
      i = next;
    } else {
      out.push_back(with[i++]);
    }
  }
}

}  // namespace

std::unique_ptr<re2::RE2> compile_regex(std::string_view pattern, std::string_view flags) {
  re2::RE2::Options options;
  options.set_log_errors(false);
  options.set_max_mem(static_cast<std::int64_t>(base::limits::kPatternMemoryBytesMax));
  options.set_dot_nl(true);
  options.set_case_sensitive(flags.find('i') == std::string_view::npos);
  std::string text = with_re2_groups(pattern);
  if (flags.find('m') != std::string_view::npos) {
    text.insert(0, "(?m)");
  }
  return std::make_unique<re2::RE2>(text, options);
}

std::size_t program_size(const re2::RE2& regex) {
  return static_cast<std::size_t>(std::max(regex.ProgramSize(), 1));
}

std::size_t search_steps(const re2::RE2& regex, std::size_t bytes) {
  return bytes * program_size(regex) / base::limits::kPatternWorkOfStep;
}

std::optional<std::string> replace_all(const re2::RE2& regex, std::string_view text,
                                       std::string_view with,
                                       const std::function<void(std::size_t)>& charge) {
  std::vector<re2::StringPiece> groups(static_cast<std::size_t>(regex.NumberOfCapturingGroups()) +
                                       1);
  const re2::StringPiece whole(text.data(), text.size());
  std::string out;
  std::size_t from = 0;
  // What a search may read beyond its match.
  const std::size_t reach =
      repeats_without_end(regex.pattern()) ? text.size() : program_size(regex);
  charge(text.size());
  while (from <= text.size() && regex.Match(whole, from, text.size(), re2::RE2::UNANCHORED,
                                            groups.data(), static_cast<int>(groups.size()))) {
    const auto at = static_cast<std::size_t>(groups[0].data() - text.data());
    out.append(text.substr(from, at - from));
    append_replacement(regex, groups, with, out);
    from = at + groups[0].size();
    if (groups[0].empty()) {
      // An empty match moves on by one character, which stays.
      if (from == text.size()) {
        return out;
      }
      const std::size_t size = sequence_length(text, from);
      out.append(text.substr(from, size));
      from += size;
    }
    if (out.size() > base::limits::kStringBytesMax) {
      return std::nullopt;
    }
    charge(std::min(text.size() - from, reach));
  }
  out.append(text.substr(std::min(from, text.size())));
  return out.size() > base::limits::kStringBytesMax ? std::nullopt : std::optional(std::move(out));
}

}  // namespace engine::fhirpath

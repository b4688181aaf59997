// Strings. Source: FHIRPath 2.0.0, 5.6; lastIndexOf, matchesFull, trim, split, join from 3.0.

#include <algorithm>
#include <cstring>

#include <re2/re2.h>

#include "engine/base/limits.h"
#include "engine/base/utf8.h"
#include "engine/fhirpath/function.h"
#include "engine/fhirpath/letters.h"
#include "engine/fhirpath/regex.h"

namespace engine::fhirpath {
namespace {

// Where a part stands in a text, from an offset on; npos. Linear in both, which searches of the
// standard library are not for texts that nearly match everywhere.
std::size_t find_text(std::string_view text, std::string_view part, std::size_t from = 0) {
  if (part.empty()) {
    return from;
  }
  const void* found = ::memmem(text.data() + from, text.size() - from, part.data(), part.size());
  return found == nullptr ? std::string_view::npos
                          : static_cast<std::size_t>(static_cast<const char*>(found) - text.data());
}

// The last place, found as the first one from behind.
std::size_t find_last(std::string_view text, std::string_view part) {
  const std::string backwards(text.rbegin(), text.rend());
  const std::size_t at = find_text(backwards, std::string(part.rbegin(), part.rend()));
  return at == std::string_view::npos ? at : text.size() - at - part.size();
}

// Short parts are searched for byte by byte, in the worst case over and over.
void charge_search(Call& call, std::string_view text, std::string_view part) {
  constexpr std::size_t kShortPart = 256;
  call.machine.tick_text(text.size() * std::min(part.size(), kShortPart) /
                         base::limits::kTextBytesOfStep);
}

void give_scalars_before(Call& call, std::string_view text, std::size_t offset) {
  const std::size_t index =
      offset == std::string_view::npos ? 0 : base::count_scalars(text.substr(0, offset));
  call.give(offset == std::string_view::npos ? Item::of_integer(-1)
                                             : Item::of_integer(static_cast<std::int64_t>(index)));
}

void index_of(Call& call) {
  const auto text = call.string_input();
  const auto part = call.string_argument(0);
  if (text && part) {
    charge_search(call, *text, *part);
    give_scalars_before(call, *text, find_text(*text, *part));
  }
}

void last_index_of(Call& call) {
  const auto text = call.string_input();
  const auto part = call.string_argument(0);
  if (text && part) {
    charge_search(call, *text, *part);
    give_scalars_before(call, *text, part->empty() ? 0 : find_last(*text, *part));
  }
}

void substring(Call& call) {
  const auto text = call.string_input();
  const auto start = call.integer_argument(0);
  if (!text || !start || *start < 0) {
    return;
  }
  const std::size_t from = offset_of_scalar(*text, static_cast<std::size_t>(*start));
  if (from >= text->size()) {
    return;
  }
  std::string_view rest = text->substr(from);
  if (call.has_argument(1)) {
    // An empty length is no length, as in 3.0.
    if (const auto length = call.integer_argument(1)) {
      rest = *length <= 0
                 ? std::string_view()
                 : rest.substr(0, offset_of_scalar(rest, static_cast<std::size_t>(*length)));
    }
  }
  call.give(Item::of_string(rest));
}

// A test of the input against one string.
template <bool (*test)(std::string_view, std::string_view)>
void test_text(Call& call) {
  const auto text = call.string_input();
  const auto part = call.string_argument(0);
  if (text && part) {
    call.give(test(*text, *part));
  }
}

bool starts(std::string_view text, std::string_view part) {
  return text.starts_with(part);
}
bool ends(std::string_view text, std::string_view part) {
  return text.ends_with(part);
}

void contains(Call& call) {
  const auto text = call.string_input();
  const auto part = call.string_argument(0);
  if (text && part) {
    charge_search(call, *text, *part);
    call.give(find_text(*text, *part) != std::string_view::npos);
  }
}

void upper(Call& call) {
  if (const auto text = call.string_input()) {
    call.give_string(to_upper(*text));
  }
}
void lower(Call& call) {
  if (const auto text = call.string_input()) {
    call.give_string(to_lower(*text));
  }
}
void length(Call& call) {
  if (const auto text = call.string_input()) {
    call.give(Item::of_integer(static_cast<std::int64_t>(base::count_scalars(*text))));
  }
}

// What the replacement makes may not be longer than any string a document can hold.
void check_length(Call& call, std::size_t bytes) {
  if (bytes > base::limits::kStringBytesMax) {
    call.machine.fail(
        "a string of more than " + std::to_string(base::limits::kStringBytesMax) + " bytes",
        base::ErrorCode::kLimit);
  }
}

void replace(Call& call) {
  const auto text = call.string_input();
  const auto pattern = call.string_argument(0);
  const auto with = call.string_argument(1);
  if (!text || !pattern || !with) {
    return;
  }
  std::string out;
  if (pattern->empty()) {
    // Every character is surrounded.
    for (std::size_t at = 0; at < text->size();) {
      const std::size_t size = sequence_length(*text, at);
      out.append(*with).append(text->substr(at, size));
      check_length(call, out.size());
      at += size;
    }
    out.append(*with);
    call.give_string(out);
    return;
  }
  charge_search(call, *text, *pattern);
  std::size_t from = 0;
  for (std::size_t at = find_text(*text, *pattern); at != std::string_view::npos;
       at = find_text(*text, *pattern, from)) {
    out.append(text->substr(from, at - from)).append(*with);
    check_length(call, out.size());
    from = at + pattern->size();
  }
  out.append(text->substr(from));
  call.give_string(out);
}

// The compiled pattern of the first argument: made with the expression when it is a literal without
// flags.
class Pattern {
 public:
  Pattern(Call& call, std::string_view pattern, std::string_view flags) {
    if (call.tree.pattern != nullptr) {
      regex_ = call.tree.pattern;
      return;
    }
    call.machine.tick(pattern.size());
    own_ = compile_regex(pattern, flags);
    if (!own_->ok()) {
      call.machine.fail("the regular expression cannot be used: " + own_->error());
    }
    regex_ = own_.get();
    call.machine.tick(program_size(*regex_));
  }
  const re2::RE2& operator*() const { return *regex_; }

 private:
  std::unique_ptr<re2::RE2> own_;
  const re2::RE2* regex_ = nullptr;
};

// The optional flags argument; an error for letters that are none.
std::string_view flags_of(Call& call, std::size_t i) {
  if (!call.has_argument(i)) {
    return {};
  }
  const std::string_view flags = call.string_argument(i).value_or(std::string_view());
  if (flags.find_first_not_of("ims") != std::string_view::npos) {
    call.machine.fail("the flags of a regular expression are i, m and s");
  }
  return flags;
}

void match(Call& call, re2::RE2::Anchor anchor) {
  const auto text = call.string_input();
  const auto pattern = call.string_argument(0);
  if (!text || !pattern) {
    return;
  }
  const Pattern regex(call, *pattern, flags_of(call, 1));
  call.machine.tick(1 + search_steps(*regex, text->size()));
  call.give((*regex).Match({text->data(), text->size()}, 0, text->size(), anchor, nullptr, 0));
}

void matches(Call& call) {
  match(call, re2::RE2::UNANCHORED);
}
void matches_full(Call& call) {
  match(call, re2::RE2::ANCHOR_BOTH);
}

void replace_matches(Call& call) {
  const auto text = call.string_input();
  const auto pattern = call.string_argument(0);
  const auto with = call.string_argument(1);
  if (!text || !pattern || !with) {
    return;
  }
  if (pattern->empty()) {
    call.give(Item::of_string(*text));
    return;
  }
  const Pattern regex(call, *pattern, flags_of(call, 2));
  const auto charge = [&](std::size_t bytes) {
    call.machine.tick(1 + search_steps(*regex, bytes));
  };
  const std::optional<std::string> out = replace_all(*regex, *text, *with, charge);
  if (!out) {
    check_length(call, base::limits::kStringBytesMax + 1);
    return;
  }
  call.give_string(*out);
}

void to_chars(Call& call) {
  const auto text = call.string_input();
  if (!text) {
    return;
  }
  call.begin();
  for (std::size_t at = 0; at < text->size();) {
    const std::size_t size = sequence_length(*text, at);
    call.machine.push(Item::of_string(text->substr(at, size)));
    at += size;
  }
}

void trim(Call& call) {
  const auto text = call.string_input();
  if (!text) {
    return;
  }
  constexpr std::string_view kSpace = " \t\r\n\f\v";
  const std::size_t from = text->find_first_not_of(kSpace);
  if (from == std::string_view::npos) {
    call.give(Item::of_string({}));
    return;
  }
  call.give(Item::of_string(text->substr(from, text->find_last_not_of(kSpace) - from + 1)));
}

void split(Call& call) {
  const auto text = call.string_input();
  const auto separator = call.string_argument(0);
  if (!text || !separator) {
    return;
  }
  if (separator->empty()) {
    to_chars(call);
    return;
  }
  charge_search(call, *text, *separator);
  call.begin();
  std::size_t from = 0;
  for (std::size_t at = find_text(*text, *separator); at != std::string_view::npos;
       at = find_text(*text, *separator, from)) {
    call.machine.push(Item::of_string(text->substr(from, at - from)));
    from = at + separator->size();
  }
  call.machine.push(Item::of_string(text->substr(from)));
}

void join(Call& call) {
  const std::string_view separator = call.has_argument(0)
                                         ? call.string_argument(0).value_or(std::string_view())
                                         : std::string_view();
  if (call.input().empty()) {
    return;
  }
  std::string out;
  bool first = true;
  for (const Item& item : call.input()) {
    const Item value = call.machine.value_of(item);
    if (value.kind != ItemKind::kString) {
      call.machine.fail("join() joins strings");
    }
    if (!first) {
      out.append(separator);
    }
    first = false;
    out.append(value.text());
    check_length(call, out.size());
  }
  call.give_string(out);
}

constexpr Function kFunctions[] = {
    {"indexOf", 1, 1, Gives::kInteger, index_of, false, false, true},
    {"lastIndexOf", 1, 1, Gives::kInteger, last_index_of, false, false, true},
    {"substring", 1, 2, Gives::kString, substring, false, false, true},
    {"startsWith", 1, 1, Gives::kBoolean, test_text<starts>, false, false, true},
    {"endsWith", 1, 1, Gives::kBoolean, test_text<ends>, false, false, true},
    {"contains", 1, 1, Gives::kBoolean, contains, false, false, true},
    {"upper", 0, 0, Gives::kString, upper, false, false, true},
    {"lower", 0, 0, Gives::kString, lower, false, false, true},
    {"replace", 2, 2, Gives::kString, replace, false, false, true},
    {"matches", 1, 2, Gives::kBoolean, matches, false, false, true},
    {"matchesFull", 1, 2, Gives::kBoolean, matches_full, false, false, true},
    {"replaceMatches", 2, 3, Gives::kString, replace_matches, false, false, true},
    {"length", 0, 0, Gives::kInteger, length, false, false, true},
    {"toChars", 0, 0, Gives::kString, to_chars, false, false, true},
    {"trim", 0, 0, Gives::kString, trim, false, false, true},
    {"split", 1, 1, Gives::kString, split, false, false, true},
    {"join", 0, 1, Gives::kString, join},
};

}  // namespace

std::span<const Function> string_functions() {
  return kFunctions;
}

}  // namespace engine::fhirpath

#include "engine/journal/record.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <utility>

#include "engine/base/limits.h"
#include "engine/base/utf8.h"

namespace engine::journal {
namespace {

constexpr std::string_view kFirstLine = "chartferry-record 1";

constexpr std::array<std::pair<Kind, std::string_view>, kKinds> kNames = {{
    {Kind::kStarted, "started"},
    {Kind::kRefused, "refused"},
    {Kind::kAccepted, "accepted"},
    {Kind::kRepeated, "repeated"},
    {Kind::kConflicting, "conflicting"},
    {Kind::kChecked, "checked"},
    {Kind::kHeld, "held"},
    {Kind::kDispatched, "dispatched"},
    {Kind::kAnswered, "answered"},
    {Kind::kLanded, "landed"},
    {Kind::kReleased, "released"},
    {Kind::kRemapped, "remapped"},
    {Kind::kWithdrawn, "withdrawn"},
    {Kind::kRead, "read"},
    {Kind::kStopped, "stopped"},
    {Kind::kApproved, "approved"},
    {Kind::kPaused, "paused"},
    {Kind::kResumed, "resumed"},
    {Kind::kNoticed, "noticed"},
    {Kind::kHandedOut, "handed-out"},
    {Kind::kLinkEnded, "link-ended"},
    {Kind::kShredded, "shredded"},
    {Kind::kExpired, "expired"},
    {Kind::kRekeyed, "rekeyed"},
    {Kind::kHold, "legal-hold"},
    {Kind::kHoldEnded, "legal-hold-ended"},
    {Kind::kSignedIn, "signed-in"},
    {Kind::kSignedOut, "signed-out"},
    {Kind::kNotLetIn, "not-let-in"},
    {Kind::kAlsoFor, "also-for"},
}};

struct TextField {
  std::string_view name;
  std::string Record::*member;
};
// In the order of the head.
constexpr std::array<TextField, 10> kTextFields = {{
    {"session", &Record::session},
    {"target", &Record::target},
    {"patient", &Record::patient},
    {"therapist", &Record::therapist},
    {"content", &Record::content},
    {"targets", &Record::targets},
    {"made-with", &Record::made_with},
    {"reason", &Record::reason},
    {"actor", &Record::actor},
    {"why", &Record::why},
}};

struct Mark {
  std::string_view name;
  bool Record::*member;
};
constexpr std::array<Mark, 5> kMarks = {{
    {"counted", &Record::counted},
    {"unknown", &Record::unknown},
    {"still-unknown", &Record::still_unknown},
    {"anew", &Record::anew},
    {"revived-unmade", &Record::revived_unmade},
}};

base::Error control_character(const TextField& field) {
  return {base::ErrorCode::kInvalid, "a control character where none is allowed",
          std::string(field.name)};
}

void line(std::string& out, std::string_view name, std::string_view value) {
  out.append(name).append(" ").append(value).append("\n");
}

template <class Number>
bool read_number(std::string_view text, Number& out) {
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), out);
  return error == std::errc() && end == text.data() + text.size();
}

// It names a file of an export.
bool is_part_name(std::string_view name) {
  return !name.empty() && name.size() <= base::limits::kHeadTextBytesMax &&
         name.find_first_not_of("abcdefghijklmnopqrstuvwxyz-") == std::string_view::npos;
}

// "name hash stored-bytes codec"
bool read_part(std::string_view value, Head& head) {
  std::array<std::string_view, 4> words;
  for (std::size_t i = 0; i < words.size(); ++i) {
    const std::size_t end = std::min(value.find(' '), value.size());
    words[i] = value.substr(0, end);
    value.remove_prefix(std::min(end + 1, value.size()));
  }
  const auto hash = digest_from_hex(words[1]);
  Head::PartMark mark;
  mark.name = std::string(words[0]);
  if (!is_part_name(mark.name) || !hash || !value.empty() ||
      !read_number(words[2], mark.stored_bytes) || !read_number(words[3], mark.codec)) {
    return false;
  }
  mark.hash = *hash;
  head.parts.push_back(std::move(mark));
  return true;
}

bool read_line(std::string_view name, std::string_view value, Head& head) {
  Record& record = head.record;
  for (const TextField& field : kTextFields) {
    if (field.name == name) {
      record.*field.member = std::string(value);
      return !value.empty();
    }
  }
  if (name == "position") {
    return read_number(value, record.position);
  }
  if (name == "time") {
    record.time = std::string(value);
    return true;
  }
  if (name == "kind") {
    const auto kind = kind_of(value);
    record.kind = kind.value_or(Kind::kStarted);
    return kind.has_value();
  }
  if (name == "revision") {
    return read_number(value, record.revision);
  }
  if (name == "through") {
    return read_number(value, record.through);
  }
  if (name == "status") {
    return read_number(value, record.status);
  }
  if (name == "attempt") {
    return read_number(value, record.attempt);
  }
  if (name == "due") {
    return read_number(value, record.due_ms);
  }
  for (const Mark& mark : kMarks) {
    if (mark.name == name) {
      record.*mark.member = true;
      return value == "yes";
    }
  }
  if (name == "revived") {
    return read_number(value, record.revived);
  }
  if (name == "part") {
    return read_part(value, head);
  }
  if (name == "previous") {
    const auto hash = digest_from_hex(value);
    head.previous = hash.value_or(base::Digest{});
    return hash.has_value();
  }
  return false;
}

}  // namespace

std::string_view name_of(Kind kind) {
  if (kind == Kind::kUnreadable) {
    return "unreadable";
  }
  for (const auto& [value, name] : kNames) {
    if (value == kind) {
      return name;
    }
  }
  return "unknown";
}

std::optional<Kind> kind_of(std::string_view name) {
  for (const auto& [value, known] : kNames) {
    if (known == name) {
      return value;
    }
  }
  return std::nullopt;
}

base::Result<void> check_writable(const Record& record, const std::vector<StoredPart>& parts) {
  for (const TextField& field : kTextFields) {
    const std::string& value = record.*field.member;
    const bool list = field.member == &Record::targets || field.member == &Record::made_with;
    if (value.size() > (list ? base::limits::kHeadListBytesMax : base::limits::kHeadTextBytesMax)) {
      return base::Error(base::ErrorCode::kInvalid, "longer than a record may say it",
                         std::string(field.name));
    }
    if (base::has_control(value)) {
      return control_character(field);
    }
  }
  for (const StoredPart& part : parts) {
    if (part.too_large) {
      return base::Error(base::ErrorCode::kLimit, "a part is larger than is ever stored",
                         part.name);
    }
  }
  return {};
}

base::Result<std::string> print_head(const Record& record, const std::vector<StoredPart>& parts,
                                     const base::Digest& previous) {
  std::string out;
  out.reserve(512);
  out.append(kFirstLine).append("\n");
  line(out, "position", std::to_string(record.position));
  line(out, "time", record.time);
  line(out, "kind", name_of(record.kind));
  for (const TextField& field : kTextFields) {
    const std::string& value = record.*field.member;
    if (base::has_control(value)) {
      return control_character(field);
    }
    if (!value.empty()) {
      line(out, field.name, value);
    }
    if (field.name == "session" && record.revision != 0) {
      line(out, "revision", std::to_string(record.revision));
    }
  }
  if (record.through != 0) {
    line(out, "through", std::to_string(record.through));
  }
  if (record.status != 0) {
    line(out, "status", std::to_string(record.status));
  }
  if (record.attempt != 0) {
    line(out, "attempt", std::to_string(record.attempt));
  }
  if (record.due_ms != 0) {
    line(out, "due", std::to_string(record.due_ms));
  }
  if (record.counted) {
    line(out, "counted", "yes");
  }
  if (record.unknown) {
    line(out, "unknown", "yes");
  }
  if (record.still_unknown) {
    line(out, "still-unknown", "yes");
  }
  if (record.revived != 0) {
    line(out, "revived", std::to_string(record.revived));
  }
  if (record.revived_unmade) {
    line(out, "revived-unmade", "yes");
  }
  if (record.anew) {
    line(out, "anew", "yes");
  }
  for (const StoredPart& part : parts) {
    line(out, "part",
         part.name + " " + base::to_hex(part.hash) + " " + std::to_string(part.bytes.size()) + " " +
             std::to_string(part.codec));
  }
  line(out, "previous", base::to_hex(previous));
  return out;
}

base::Result<Head> parse_head(std::string_view text) {
  Head head;
  int number = 0;
  bool complete = false;
  while (!text.empty()) {
    ++number;
    const std::size_t end = text.find('\n');
    const std::string_view row = text.substr(0, end);
    const std::size_t space = std::min(row.find(' '), row.size());
    const std::string_view name = row.substr(0, space);
    const std::string_view value = space < row.size() ? row.substr(space + 1) : std::string_view();
    const bool good = end != std::string_view::npos && !complete &&
                      (number == 1 ? row == kFirstLine : read_line(name, value, head));
    if (!good) {
      return base::Error(base::ErrorCode::kCorrupt, "a record's head is not readable",
                         "line " + std::to_string(number));
    }
    complete = name == "previous";
    text.remove_prefix(end + 1);
  }
  if (!complete) {
    return base::Error(base::ErrorCode::kCorrupt, "a record's head ends too early");
  }
  return head;
}

base::Result<Head> parse_head(std::string_view text, Position position) {
  auto head = parse_head(text);
  const std::string where = "record " + std::to_string(position);
  if (!head) {
    const base::Error& error = head.error();
    return base::Error(error.code, error.detail,
                       where + (error.where.empty() ? "" : ", " + error.where));
  }
  if (head->record.position != position) {
    return base::Error(base::ErrorCode::kCorrupt, "a record's head says another position", where);
  }
  return head;
}

base::Digest leaf_hash(std::string_view head) {
  std::string bytes(1, '\0');
  bytes.append(head);
  return base::sha256(bytes);
}

base::Digest genesis() {
  return base::sha256("chartferry journal");
}

std::optional<base::Digest> digest_from_hex(std::string_view hex) {
  base::Digest out{};
  if (hex.size() != out.size() * 2) {
    return std::nullopt;
  }
  for (std::size_t i = 0; i < out.size(); ++i) {
    const auto [end, error] =
        std::from_chars(hex.data() + 2 * i, hex.data() + 2 * i + 2, out[i], 16);
    if (error != std::errc() || end != hex.data() + 2 * i + 2) {
      return std::nullopt;
    }
  }
  return out;
}

}  // namespace engine::journal

#include "engine/json/document.h"

#include <cstring>
#include <new>
#include <utility>

// Sixteen bytes a step through white space and strings. Its loads are aligned and may read past the
// text's end, so parse() pads its copy.
#if defined(__SSE2__)
#define RAPIDJSON_SSE2
#elif defined(__ARM_NEON)
#define RAPIDJSON_NEON
#endif
#include <rapidjson/reader.h>

#include "engine/base/check.h"
#include "engine/base/utf8.h"

namespace engine::json {

namespace rj = rapidjson;

// Receives RapidJSON's events and hangs nodes into the tree. In-situ parsing leaves every string
// and number in the document's own copy of the text, so a node costs no allocation beyond itself.
class TreeHandler {
 public:
  enum class Exponents { kAsTheyAre, kHidden };
  // Reads a text that was found to be well encoded. Throws bad_alloc past the arena's limit.
  static base::Result<void> read(Document& document, std::string_view text,
                                 const ParseLimits& limits, Exponents exponents);

  TreeHandler(Document& document, const char* text, rj::InsituStringStream& stream,
              const ParseLimits& limits)
      : document_(document), text_(text), stream_(stream), limits_(limits) {}

  bool Null() { return leaf(Kind::kNull, stream_.Tell() - 4); }
  bool Bool(bool value) {
    Node* node = document_.make(Kind::kBoolean);
    node->boolean = value;
    return add(node, stream_.Tell() - (value ? 4 : 5));
  }
  bool RawNumber(const char* data, rj::SizeType length, bool) {
    if (length > base::limits::kNumberBytesMax) {
      return refuse("a number of more than 128 characters", offset_of(data));
    }
    return text_leaf(Kind::kNumber, data, length, offset_of(data));
  }
  bool String(const char* data, rj::SizeType length, bool) {
    if (length > base::limits::kStringBytesMax) {
      return refuse("a string of more than 4 MiB", offset_of(data));
    }
    return text_leaf(Kind::kString, data, length, offset_of(data) - 1);
  }
  bool Key(const char* data, rj::SizeType length, bool) {
    pending_ = document_.name({data, length});
    return true;
  }
  bool StartObject() { return open(Kind::kObject); }
  bool StartArray() { return open(Kind::kArray); }
  bool EndObject(rj::SizeType) {
    if (current_->count > 1) {
      find_duplicates();
    }
    current_ = current_->parent;
    --depth_;
    return true;
  }
  bool EndArray(rj::SizeType) {
    current_ = current_->parent;
    --depth_;
    return true;
  }
  // Required by the reader's interface; the numbers-as-strings flag keeps it from calling them.
  bool Int(int) { return false; }
  bool Uint(unsigned) { return false; }
  bool Int64(std::int64_t) { return false; }
  bool Uint64(std::uint64_t) { return false; }
  bool Double(double) { return false; }

  const std::string& refusal() const { return refusal_; }
  std::size_t refusal_offset() const { return refusal_offset_; }

 private:
  std::size_t offset_of(const char* data) const { return static_cast<std::size_t>(data - text_); }

  bool refuse(std::string why, std::size_t offset) {
    refusal_ = std::move(why);
    refusal_offset_ = offset;
    return false;
  }
  bool leaf(Kind kind, std::size_t offset) { return add(document_.make(kind), offset); }
  bool text_leaf(Kind kind, const char* data, std::size_t length, std::size_t offset) {
    Node* node = document_.make(kind);
    node->data = data;
    node->length = static_cast<std::uint32_t>(length);
    return add(node, offset);
  }
  bool add(Node* node, std::size_t offset) {
    node->offset = static_cast<std::uint32_t>(offset);
    if (current_ == nullptr) {
      document_.root_ = node;
      return true;
    }
    node->parent = current_;
    if (current_->kind == Kind::kObject) {
      node->name = pending_;
    } else if (current_->count >= base::limits::kJsonArrayItemsMax) {
      return refuse("an array of more than 100000 items", offset);
    }
    if (current_->last == nullptr) {
      current_->first = node;
    } else {
      current_->last->next = node;
    }
    current_->last = node;
    ++current_->count;
    return true;
  }
  bool open(Kind kind) {
    const std::size_t offset = stream_.Tell() - 1;
    if (++depth_ > limits_.depth_max) {
      return refuse("nested deeper than " + std::to_string(limits_.depth_max) + " levels", offset);
    }
    Node* node = document_.make(kind);
    if (!add(node, offset)) {
      return false;
    }
    current_ = node;
    return true;
  }
  void find_duplicates() {
    if (current_->count <= 32) {
      for (const Node* a = current_->first->next; a != nullptr; a = a->next) {
        for (const Node* b = current_->first; b != a; b = b->next) {
          if (a->name == b->name) {
            document_.duplicates_.push_back(a);
            break;
          }
        }
      }
      return;
    }
    std::unordered_map<const Name*, bool> seen;
    seen.reserve(current_->count);
    for (const Node& member : *current_) {
      if (!seen.emplace(member.name, true).second) {
        document_.duplicates_.push_back(&member);
      }
    }
  }

  Document& document_;
  const char* text_;
  rj::InsituStringStream& stream_;
  const ParseLimits& limits_;
  Node* current_ = nullptr;
  const Name* pending_ = nullptr;
  std::size_t depth_ = 0;
  std::string refusal_;
  std::size_t refusal_offset_ = 0;
};

namespace {

constexpr std::size_t kPaddingBytes = 16;

std::string place(std::string_view text, std::size_t offset) {
  const Position at = locate(text, offset);
  return std::to_string(at.line) + ':' + std::to_string(at.column);
}

const char* describe(rj::ParseErrorCode code) {
  switch (code) {
    case rj::kParseErrorDocumentEmpty:
      return "nothing to read; a JSON value is expected";
    case rj::kParseErrorDocumentRootNotSingular:
      return "more text after the end of the JSON value";
    case rj::kParseErrorObjectMissName:
      return "a member name in double quotes is expected";
    case rj::kParseErrorObjectMissColon:
      return "a colon is expected after the member name";
    case rj::kParseErrorObjectMissCommaOrCurlyBracket:
      return "a comma or } is expected in the object";
    case rj::kParseErrorArrayMissCommaOrSquareBracket:
      return "a comma or ] is expected in the array";
    case rj::kParseErrorStringUnicodeEscapeInvalidHex:
    case rj::kParseErrorStringUnicodeSurrogateInvalid:
      return "a \\u escape that is no Unicode character";
    case rj::kParseErrorStringEscapeInvalid:
      return "an unknown escape or a control character in a string";
    case rj::kParseErrorStringMissQuotationMark:
      return "a string without its closing quotation mark";
    case rj::kParseErrorStringInvalidEncoding:
      return "a control character inside a string; write it as an escape";
    case rj::kParseErrorNumberMissFraction:
      return "a digit is expected after the decimal point";
    case rj::kParseErrorNumberMissExponent:
      return "a digit is expected in the exponent";
    case rj::kParseErrorNumberTooBig:
      return "a number beyond 1e308";
    default:
      return "not a JSON value";
  }
}

// RapidJSON refuses a high surrogate without its low half but lets a low one stand alone, which
// would leave bytes in the tree that are not UTF-8. Offset of the first such escape, or npos.
std::size_t find_lone_surrogate(std::string_view text) {
  const auto is_half = [text](std::size_t at, std::string_view third_digits) {
    return text.substr(at, 2) == "\\u" && at + 3 < text.size() && (text[at + 2] | 0x20) == 'd' &&
           third_digits.find(text[at + 3]) != std::string_view::npos;
  };
  std::size_t at = text.find('\\');
  while (at != std::string_view::npos) {
    if (is_half(at, "89abAB")) {
      at += 12;
    } else if (is_half(at, "cdefCDEF")) {
      return at;
    } else {
      at += 2;
    }
    at = text.find('\\', at);
  }
  return std::string_view::npos;
}

// The digits of an exponent, taken out of the text for the time of a parse.
struct HiddenDigits {
  std::size_t offset;
  std::string digits;
};

// The reader refuses exponents that no double has even where it hands out a number's text, and FHIR
// decimals may have them. Exponents of three digits and more become zeros of the same length.
std::vector<HiddenDigits> hide_exponents(char* text, std::size_t size) {
  std::vector<HiddenDigits> hidden;
  const auto is_digit = [](char c) { return c >= '0' && c <= '9'; };
  bool in_string = false;
  for (std::size_t i = 0; i < size; ++i) {
    if (in_string) {
      if (text[i] == '\\') {
        ++i;  // whatever follows, a quotation mark too, is inside the string
      } else {
        in_string = text[i] != '"';
      }
    } else if (text[i] == '"') {
      in_string = true;
    } else if ((text[i] == 'e' || text[i] == 'E') && i > 0 && is_digit(text[i - 1])) {
      const std::size_t from =
          i + (i + 1 < size && (text[i + 1] == '+' || text[i + 1] == '-') ? 2 : 1);
      std::size_t to = from;
      while (to < size && is_digit(text[to])) {
        ++to;
      }
      constexpr std::size_t kHarmless = 2;
      if (to - from > kHarmless) {
        hidden.push_back({from, std::string(text + from, to - from)});
        std::memset(text + from, '0', to - from);
      }
      i = to - 1;
    }
  }
  return hidden;
}

}  // namespace

base::Result<void> TreeHandler::read(Document& document, std::string_view text,
                                     const ParseLimits& limits, Exponents exponents) {
  char* buffer =
      static_cast<char*>(document.arena_.allocate(text.size() + kPaddingBytes, kPaddingBytes));
  std::memcpy(buffer, text.data(), text.size());
  std::memset(buffer + text.size(), 0, kPaddingBytes);
  std::vector<HiddenDigits> hidden;
  if (exponents == Exponents::kHidden) {
    hidden = hide_exponents(buffer, text.size());
  }
  rj::InsituStringStream stream(buffer);
  rj::Reader reader;
  TreeHandler handler(document, buffer, stream, limits);
  constexpr unsigned kFlags = rj::kParseInsituFlag | rj::kParseNumbersAsStringsFlag;
  const rj::ParseResult result = reader.Parse<kFlags>(stream, handler);
  for (const HiddenDigits& each : hidden) {
    std::memcpy(buffer + each.offset, each.digits.data(), each.digits.size());
  }
  if (result.IsError()) {
    document.root_ = nullptr;
    if (!handler.refusal().empty()) {
      return base::Error(base::ErrorCode::kLimit, handler.refusal(),
                         place(text, handler.refusal_offset()));
    }
    const bool too_big = result.Code() == rj::kParseErrorNumberTooBig;
    if (too_big && exponents == Exponents::kAsTheyAre) {
      document.clear();
      return read(document, text, limits, Exponents::kHidden);
    }
    return base::Error(too_big ? base::ErrorCode::kLimit : base::ErrorCode::kInvalid,
                       describe(result.Code()), place(text, result.Offset()));
  }
  // A NUL byte ends the reader's text; whatever stands behind it was not read.
  if (stream.Tell() < text.size()) {
    document.root_ = nullptr;
    return base::Error(base::ErrorCode::kInvalid, "a NUL byte", place(text, stream.Tell()));
  }
  return {};
}

base::Result<void> Document::parse(std::string_view text, const ParseLimits& limits) {
  clear();
  if (text.size() > limits.bytes_max) {
    return base::Error(base::ErrorCode::kLimit,
                       "more than " + std::to_string(limits.bytes_max) + " bytes");
  }
  if (text.starts_with("\xEF\xBB\xBF")) {
    return base::Error(base::ErrorCode::kInvalid,
                       "a byte order mark; FHIR JSON is plain UTF-8 without one", "1:1");
  }
  if (const auto bad = base::find_invalid_utf8(text)) {
    return base::Error(base::ErrorCode::kInvalid, "a byte sequence that is not UTF-8",
                       place(text, *bad));
  }
  if (const std::size_t at = find_lone_surrogate(text); at != std::string_view::npos) {
    return base::Error(base::ErrorCode::kInvalid,
                       "half of a surrogate pair; both halves are needed for one character",
                       place(text, at));
  }
  try {
    return TreeHandler::read(*this, text, limits, TreeHandler::Exponents::kAsTheyAre);
  } catch (const std::bad_alloc&) {
    root_ = nullptr;
    return base::Error(base::ErrorCode::kLimit,
                       "a document that needs more memory than is allowed");
  }
}

void Document::clear() {
  root_ = nullptr;
  duplicates_.clear();
  local_names_.clear();
  recent_names_ = {};
  arena_.reset();
}

const Name* Document::local_name(std::string_view text, std::uint64_t hash) {
  const Name*& recent = recent_names_[hash % recent_names_.size()];
  if (recent != nullptr && recent->text == text) {
    return recent;
  }
  const auto found = local_names_.find(text);
  if (found != local_names_.end()) {
    recent = found->second;
    return recent;
  }
  recent = make_name(text, kLocalName, arena_);
  local_names_.emplace(recent->text, recent);
  return recent;
}

Node* Document::make_boolean(bool value) {
  Node* node = make(Kind::kBoolean);
  node->boolean = value;
  return node;
}

Node* Document::make_string(std::string_view value) {
  Node* node = make(Kind::kString);
  node->data = arena_.copy(value).data();
  node->length = static_cast<std::uint32_t>(value.size());
  return node;
}

Node* Document::make_number(std::string_view number_text) {
  Node* node = make_string(number_text);
  node->kind = Kind::kNumber;
  return node;
}

void Document::append(Node* array, Node* item) {
  item->parent = array;
  item->next = nullptr;
  if (array->last == nullptr) {
    array->first = item;
  } else {
    array->last->next = item;
  }
  array->last = item;
  ++array->count;
}

void Document::append(Node* object, const Name* member, Node* value) {
  value->name = member;
  append(object, value);
}

Node* Document::copy(const Node& node) {
  Node* to = make(node.kind);
  to->boolean = node.boolean;
  if (node.kind == Kind::kString || node.kind == Kind::kNumber) {
    to->data = arena_.copy(node.text()).data();
    to->length = node.length;
  }
  for (const Node& child : node) {
    Node* item = copy(child);
    if (node.kind == Kind::kObject) {
      append(to, child.name->id == kLocalName ? name(child.name->text) : child.name, item);
    } else {
      append(to, item);
    }
  }
  return to;
}

Position locate(std::string_view text, std::size_t offset) {
  const std::string_view before = text.substr(0, offset);
  std::size_t line = 1;
  std::size_t start = 0;
  for (std::size_t i = 0; i < before.size(); ++i) {
    if (before[i] == '\n') {
      ++line;
      start = i + 1;
    }
  }
  return {line, base::count_scalars(before.substr(start)) + 1};
}

}  // namespace engine::json

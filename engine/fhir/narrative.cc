#include "engine/fhir/narrative.h"

#include <optional>

#include "engine/base/limits.h"
#include "engine/fhir/ascii.h"
#include "engine/fhir/narrative_words.h"

namespace engine::fhir {
namespace {

constexpr std::string_view kXhtmlNamespace = "http://www.w3.org/1999/xhtml";

bool is_name_start(char c) {
  return is_letter(c) || c == '_' || static_cast<unsigned char>(c) >= 0x80;
}
bool is_name_part(char c) {
  return is_name_start(c) || is_digit(c) || c == '-' || c == '.' || c == ':';
}

bool starts_with_ignoring_case(std::string_view text, std::string_view lower) {
  if (text.size() < lower.size()) {
    return false;
  }
  for (std::size_t i = 0; i < lower.size(); ++i) {
    const char c = is_upper(text[i]) ? static_cast<char>(text[i] - 'A' + 'a') : text[i];
    if (c != lower[i]) {
      return false;
    }
  }
  return true;
}

class Scanner {
 public:
  explicit Scanner(std::string_view text) : text_(text) {}

  NarrativeReport run() {
    scan();
    if (report_.faults.empty() && !has_content_) {
      fault(NarrativeRule::kEmpty, 0, "the narrative has neither text nor a picture");
    }
    return std::move(report_);
  }

 private:
  struct Attribute {
    std::string_view name;
    std::string_view value;
    std::size_t at;
  };

  void scan() {
    skip_space();
    if (!looking_at("<div") || at_ + 4 >= text_.size() || is_name_part(text_[at_ + 4])) {
      broken("a narrative begins with <div xmlns=\"http://www.w3.org/1999/xhtml\">");
      return;
    }
    do {
      if (at_ >= text_.size()) {
        broken("<" + std::string(open_.back()) + "> is not closed");
        return;
      }
      if (!(text_[at_] == '<' ? markup() : characters())) {
        return;
      }
    } while (!open_.empty());
    skip_space();
    if (at_ < text_.size()) {
      broken("nothing may follow the closing </div>");
    }
  }

  bool characters() {
    while (at_ < text_.size() && text_[at_] != '<') {
      const char c = text_[at_];
      if (c == '&') {
        if (!entity()) {
          return false;
        }
        continue;
      }
      if (static_cast<unsigned char>(c) < 0x20 && !is_space(c)) {
        return broken("a control character; XML does not allow it");
      }
      // A no-break space is text: only the four white space characters of XML are none.
      has_content_ = has_content_ || !is_space(c);
      ++at_;
    }
    return true;
  }

  bool markup() {
    if (looking_at("<!--")) {
      return comment();
    }
    if (looking_at("<![CDATA[")) {
      const std::size_t end = text_.find("]]>", at_);
      if (end == std::string_view::npos) {
        return broken("a CDATA section without end");
      }
      has_content_ = has_content_ || end > at_ + 9;
      at_ = end + 3;
      return true;
    }
    if (looking_at("<!") || looking_at("<?")) {
      return broken("a narrative has no declarations and no processing instructions");
    }
    return looking_at("</") ? closing_tag() : opening_tag();
  }

  bool comment() {
    const std::size_t end = text_.find("--", at_ + 4);
    if (end == std::string_view::npos || end + 2 >= text_.size() || text_[end + 2] != '>') {
      return broken("a comment ends with --> and holds no -- before");
    }
    at_ = end + 3;
    return true;
  }

  bool closing_tag() {
    const std::size_t from = at_;
    at_ += 2;
    const std::string_view name = take_name();
    skip_space();
    if (name.empty() || !take('>')) {
      at_ = from;
      return broken("a closing tag that is not complete");
    }
    if (open_.empty() || open_.back() != name) {
      at_ = from;
      return broken("</" + std::string(name) + "> closes " +
                    (open_.empty() ? "nothing" : "<" + std::string(open_.back()) + ">"));
    }
    open_.pop_back();
    return true;
  }

  bool opening_tag() {
    const std::size_t from = at_++;
    const std::string_view name = take_name();
    if (name.empty()) {
      return broken("< begins a tag; write &lt; for the sign itself");
    }
    if (open_.size() >= base::limits::kNarrativeDepthMax) {
      return broken("the narrative nests too deeply");
    }
    attributes_.clear();
    if (!attributes()) {
      return false;
    }
    const bool empty = take('/');
    if (!take('>')) {
      return broken("the tag <" + std::string(name) + "> is not complete");
    }
    judge(name, from);
    if (!empty) {
      open_.push_back(name);
    }
    return true;
  }

  bool attributes() {
    for (;;) {
      const std::size_t before = at_;
      skip_space();
      if (at_ >= text_.size() || text_[at_] == '>' || text_[at_] == '/') {
        return true;
      }
      const std::size_t from = at_;
      const std::string_view name = take_name();
      if (name.empty() || before == from) {
        return broken("attributes are name=\"value\" with a space between them");
      }
      skip_space();
      const bool equals = take('=');
      skip_space();
      const char quote = at_ < text_.size() ? text_[at_] : '\0';
      if (!equals || (quote != '"' && quote != '\'')) {
        return broken("the attribute " + std::string(name) + " needs a value in quotation marks");
      }
      const std::size_t value_from = ++at_;
      while (at_ < text_.size() && text_[at_] != quote) {
        if (text_[at_] == '<') {
          return broken("< inside an attribute; write &lt;");
        }
        if (text_[at_] == '&') {
          if (!entity()) {
            return false;
          }
        } else {
          ++at_;
        }
      }
      if (at_ >= text_.size()) {
        return broken("an attribute value without end");
      }
      for (const Attribute& other : attributes_) {
        if (other.name == name) {
          return broken("the attribute " + std::string(name) + " is there twice");
        }
      }
      attributes_.push_back({name, text_.substr(value_from, at_ - value_from), from});
      ++at_;
    }
  }

  bool entity() {
    const std::size_t end = text_.find(';', at_);
    const std::string_view name =
        end == std::string_view::npos || end - at_ > 12 ? "" : text_.substr(at_ + 1, end - at_ - 1);
    bool well = name == "lt" || name == "gt" || name == "amp" || name == "quot" || name == "apos";
    if (!well && name.size() > 1 && name[0] == '#') {
      const bool hex = name[1] == 'x';
      const std::string_view digits = name.substr(hex ? 2 : 1);
      well = !digits.empty();
      for (const char c : digits) {
        well = well && (hex ? is_hex(c) : is_digit(c));
      }
    }
    if (!well) {
      return broken("only &lt; &gt; &amp; &quot; &apos; and numbers such as &#160; may follow &");
    }
    has_content_ = true;
    at_ = end + 1;
    return true;
  }

  // The content rules of one tag.
  void judge(std::string_view name, std::size_t from) {
    if (!is_narrative_element(name)) {
      fault(NarrativeRule::kContent, from,
            "<" + std::string(name) + "> may not stand in a narrative; only formatting may");
      return;
    }
    bool has_namespace = false;
    for (const Attribute& attribute : attributes_) {
      if (attribute.name == "xmlns") {
        has_namespace = attribute.value == kXhtmlNamespace;
        if (!has_namespace) {
          fault(NarrativeRule::kForm, attribute.at,
                "the namespace is '" + std::string(attribute.value.substr(0, 80)) +
                    "'; a narrative's is http://www.w3.org/1999/xhtml");
        }
      } else if (!attribute.name.starts_with("xmlns:")) {
        judge_attribute(name, attribute);
      }
    }
    if (open_.empty() && !has_namespace) {
      fault(NarrativeRule::kForm, from, "the div needs xmlns=\"http://www.w3.org/1999/xhtml\"");
    }
    has_content_ = has_content_ || name == "img";
  }

  void judge_attribute(std::string_view element, const Attribute& attribute) {
    if (!is_narrative_attribute(element, attribute.name)) {
      const bool event = starts_with_ignoring_case(attribute.name, "on");
      fault(NarrativeRule::kContent, attribute.at,
            "the attribute " + std::string(attribute.name) + " of <" + std::string(element) +
                (event ? "> would run something; a narrative has no events" : "> is not allowed"));
      return;
    }
    if (attribute.name == "id" || attribute.name == "name") {
      report_.anchors.push_back(attribute.value);
    }
    if (attribute.name != "href" && attribute.name != "src") {
      return;
    }
    std::string_view address = attribute.value;
    while (!address.empty() && (is_space(address.front()) || address.front() == '&')) {
      address.remove_prefix(1);
    }
    const bool script = starts_with_ignoring_case(address, "javascript:") ||
                        starts_with_ignoring_case(address, "vbscript:");
    const bool data = attribute.name == "href" && starts_with_ignoring_case(address, "data:");
    if (script || data) {
      fault(NarrativeRule::kContent, attribute.at,
            "an address of a narrative may not run or carry content of its own");
    } else if (address.size() > 1 && address.front() == '#') {
      report_.local_references.push_back(address.substr(1));
    }
  }

  bool looking_at(std::string_view what) const { return text_.substr(at_).starts_with(what); }
  bool take(char c) {
    if (at_ >= text_.size() || text_[at_] != c) {
      return false;
    }
    ++at_;
    return true;
  }
  std::string_view take_name() {
    const std::size_t from = at_;
    if (at_ < text_.size() && is_name_start(text_[at_])) {
      while (at_ < text_.size() && is_name_part(text_[at_])) {
        ++at_;
      }
    }
    return text_.substr(from, at_ - from);
  }
  void skip_space() {
    while (at_ < text_.size() && is_space(text_[at_])) {
      ++at_;
    }
  }
  // Always false, so that scanning stops with it.
  bool broken(std::string why) {
    fault(NarrativeRule::kForm, at_, std::move(why));
    return false;
  }
  void fault(NarrativeRule rule, std::size_t offset, std::string why) {
    if (report_.faults.size() < base::limits::kNarrativeFaultsMax) {
      report_.faults.push_back({rule, offset, std::move(why)});
    }
  }

  std::string_view text_;
  std::size_t at_ = 0;
  bool has_content_ = false;
  std::vector<std::string_view> open_;
  std::vector<Attribute> attributes_;
  NarrativeReport report_;
};

}  // namespace

NarrativeReport check_narrative(std::string_view xhtml) {
  return Scanner(xhtml).run();
}

}  // namespace engine::fhir

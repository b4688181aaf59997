#pragma once
// Steps over the text of a JSON document (RFC 8259) without making a tree of it, for a reader who
// wants a few members of a large text. The text has been parsed or written here before: of other
// texts it may make something else than a parser would.

#include <cstddef>
#include <string_view>

namespace engine::json {

class Skim {
 public:
  explicit Skim(std::string_view text) : text_(text) {}

  // Steps into the object or array that begins here. False when something else does.
  bool enter();
  // Steps to the next member or item of what was entered last; false behind the last one, and then
  // what it stood in goes on. Each one found must be entered or taken before the next.
  bool next();
  // Of the member that next() found, as it is written, without its quotation marks.
  std::string_view name() const { return name_; }
  // The whole value that begins here, as it is written; empty when the text ends first.
  std::string_view take();

 private:
  void blank();
  bool skip(char c);
  std::size_t end_of_string(std::size_t at) const;

  std::string_view text_;
  std::size_t at_ = 0;
  std::string_view name_;
};

}  // namespace engine::json

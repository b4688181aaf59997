#pragma once
// The people file: who may, and as what (docs/formats/people.md). Persons have a password, systems
// a token; the file holds neither in clear. A value: edited, printed, parsed.

#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/people/roles.h"

namespace engine::people {

struct Entry {
  bool system = false;
  std::string name;     // unique among persons and systems
  std::string secret;   // of a person "$argon2id$...", of a system "sha256:..."; empty: none yet
  std::string display;  // as people know it
  Roles roles;
  // As the journal names it: "Robin Sample (robin)".
  std::string actor() const { return display + " (" + name + ")"; }
};

class People {
 public:
  // `file` names it in errors. Errors: kInvalid with file and line, kLimit.
  static base::Result<People> parse(std::string_view text, const std::string& file);
  std::string print() const;

  const std::vector<Entry>& entries() const { return entries_; }
  // Null when there is nobody of that name.
  const Entry* find(std::string_view name) const;
  // A system by what is kept of its token.
  const Entry* find_system(std::string_view kept_secret) const;

  // Errors: kInvalid for what an entry cannot be, kConflict when the name is taken, kLimit.
  base::Result<void> add(Entry entry);
  // Errors: kNotFound.
  base::Result<void> remove(std::string_view name);
  // Errors: kNotFound, kInvalid.
  base::Result<void> set_secret(std::string_view name, std::string secret);

 private:
  std::vector<Entry> entries_;  // in the order of their names
};

}  // namespace engine::people

#pragma once
// The mapping, profile and settings sets that an engine has used, kept beside its journal under
// their hashes, so that replay can make every bundle again that was made with an older set:
//   FOLDER/mapping-HASH/...   FOLDER/profiles-HASH/...   FOLDER/settings-HASH.json
// Written once, never changed. Not for the journal's bodies.

#include <memory>
#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/therapy/translate.h"

namespace engine::cli {

// Names a combination of sets.
struct SetIds {
  std::string mapping;
  std::string profiles;
  std::string settings;
  bool operator==(const SetIds&) const = default;
  bool empty() const { return mapping.empty(); }
  // Short and for people: the first digits of the hash over the three.
  std::string name() const;
};
SetIds ids_of(const therapy::Provenance& provenance);
// Of what a translation was made with, as journalled ("mapping=... profiles=... settings=...").
SetIds ids_of(std::string_view made_with);

class KeptSets {
 public:
  explicit KeptSets(std::string folder) : folder_(std::move(folder)) {}
  // The folder that belongs to a journal.
  static std::string folder_of(const std::string& journal) { return journal + ".sets"; }

  // Errors: kIo.
  base::Result<void> keep(const therapy::Sources& sources, const SetIds& ids) const;
  // Errors: kNotFound for a set that is not there, kIo, kCorrupt for files that do not have the
  // hash of their folder's name; those of Translator::load.
  base::Result<std::unique_ptr<therapy::Translator>> load(const SetIds& ids) const;
  // The second half of it, for sources that were read().
  static base::Result<std::unique_ptr<therapy::Translator>> make(therapy::Sources sources,
                                                                 const SetIds& ids);
  // The files alone. Errors: kNotFound, kIo.
  base::Result<therapy::Sources> read(const SetIds& ids) const;

 private:
  std::string folder_;
};

}  // namespace engine::cli

#pragma once
// A translator from what came with the program, with a site's own folders laid over it file by
// file.

#include <memory>
#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/therapy/translate.h"

namespace engine::cli {

// Below mappings/ and profiles/: what a country asks for, laid over the rest only when chosen.
inline constexpr std::string_view kNationalFolder = "us-core/";

struct TranslatorFiles {
  // A directory that holds the three below under their usual names; see site_files(). Those that
  // are given by themselves win.
  std::string site;
  // What a country asks for, laid over our maps before the site's own: "us-core" (its newest
  // version here), "us-core/9.0.0", "us-core/3.1.0". Its profiles are loaded, too. Empty: none.
  std::string overlay;
  std::string mappings;  // folders; empty: only what came with the program
  std::string profiles;
  std::string settings;  // a file; empty: the defaults
  bool empty() const { return *this == TranslatorFiles(); }
  bool operator==(const TranslatorFiles&) const = default;
};

// A site's directory: mappings/ (maps, tables, samples/), profiles/ and settings.json, each of them
// if it is there. Errors: kNotFound when none is.
base::Result<TranslatorFiles> site_files(const std::string& directory);
// With the folders of its site, where it names one. Errors: as site_files().
base::Result<TranslatorFiles> with_site(TranslatorFiles files);
// What `own` leaves open is `common`'s.
TranslatorFiles laid_over(TranslatorFiles own, const TranslatorFiles& common);

// The files themselves, for whoever keeps them beside the translator.
base::Result<therapy::Sources> read_sources(const TranslatorFiles& files);

// Errors: kIo, kNotFound for a folder or file that cannot be read and for an overlay that is not
// here; kInvalid with the place in a map
// or profile that does not compile.
base::Result<std::unique_ptr<therapy::Translator>> load_translator(const TranslatorFiles& files);

}  // namespace engine::cli

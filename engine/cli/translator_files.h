#pragma once
// A translator from what came with the program, with a site's own folders laid over it file by
// file.

#include <memory>
#include <string>

#include "engine/base/result.h"
#include "engine/therapy/translate.h"

namespace engine::cli {

struct TranslatorFiles {
  std::string mappings;  // folders; empty: only what came with the program
  std::string profiles;
  std::string settings;  // a file; empty: the defaults
};

// Errors: kIo, kNotFound for a folder or file that cannot be read; kInvalid with the place in a map
// or profile that does not compile.
base::Result<std::unique_ptr<therapy::Translator>> load_translator(const TranslatorFiles& files);

}  // namespace engine::cli

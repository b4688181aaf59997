#pragma once
// The site's ward list for the Round page (docs/formats/ward.md): who is here with the plan in
// force, made of the session document's own frame, so that the core's own check of a session judges
// it. It changes through the day; text() looks at the file again when it has changed. Thread safe.

#include <filesystem>
#include <functional>
#include <mutex>
#include <string>
#include <string_view>

#include "engine/base/result.h"
#include "engine/therapy/translate.h"

namespace engine::cli {

// The core's judgement of a session document.
using Admit = std::function<therapy::Translator::Admission(std::string_view)>;

// Errors: kInvalid, kLimit with the place.
base::Result<void> check_ward(std::string_view text, const std::string& name, const Admit& admit);

class WardFile {
 public:
  // An empty path: the site has none.
  WardFile(std::string path, Admit admit) : path_(std::move(path)), admit_(std::move(admit)) {}
  // Its JSON, checked. Errors: kNotFound without a path; kIo, kLimit, kInvalid.
  base::Result<std::string> text();

 private:
  std::string path_;
  Admit admit_;
  std::mutex mutex_;  // of what follows
  std::string text_;
  std::filesystem::file_time_type changed_;
};

}  // namespace engine::cli

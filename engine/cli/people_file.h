#pragma once
// The site's people file (docs/formats/people.md) on the disk: read by the engine, which looks at
// it again when it changes, and changed by `chartferry people`, one change at a time.

#include <functional>
#include <optional>
#include <string>
#include <utility>

#include "engine/base/hash.h"
#include "engine/base/result.h"
#include "engine/people/people.h"

namespace engine::cli {

// Not thread safe.
class PeopleFile {
 public:
  explicit PeopleFile(std::string path) : path_(std::move(path)) {}

  // Errors: kIo; kLimit; kInvalid with the line, or when others than its owner and group may read
  // or write the file.
  base::Result<people::People> load();
  // What load() gives when the file is another than at the last look; one that is refused is
  // refused once.
  std::optional<base::Result<people::People>> look();

 private:
  std::string path_;
  base::Digest seen_{};  // of its bytes, or of why it cannot be read
};

enum class WhenMissing { kRefuse, kMake };

// Reads the file, has it changed, and puts the new one in its place, with the owner and the rights
// of the old one (a new one: for its owner only). Who reads it meanwhile sees the one or the other;
// who changes it meanwhile waits. Errors: those of load() and of the change; kIo.
base::Result<void> change_people(const std::string& path, WhenMissing when_missing,
                                 const std::function<base::Result<void>(people::People&)>& change);

}  // namespace engine::cli

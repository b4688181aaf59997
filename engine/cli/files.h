#pragma once
// Folders for the commands: every file as bytes in memory, and writing one.

#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/base/seams.h"

namespace engine::cli {

// Every regular file below a folder, names relative to it with '/', sorted; hidden files and links
// are left out. Errors: kIo, kLimit.
base::Result<std::vector<base::SourceFile>> read_folder(const std::string& path,
                                                        std::size_t file_bytes_max);
// Written beside and renamed, so that a reader never sees half a file. Makes missing folders.
// Errors: kIo.
base::Result<void> write_file(const std::string& path, std::string_view bytes);
// The same for what others have no business with: the file and the folders that it makes are the
// owner's only.
base::Result<void> write_private_file(const std::string& path, std::string_view bytes);
// A folder and what is missing above it, likewise. Errors: kIo.
base::Result<void> make_private_folder(const std::string& path);

}  // namespace engine::cli

#pragma once
// The key that signs the journal's heads, of which the secret half lies beside the journal. Whoever
// exchanges it takes the proof from all that was signed before, so that this happens on purpose
// only.

#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/journal/tree_head.h"

namespace engine::cli {

struct HeadSecret {
  journal::HeadSigner signer;
  bool is_new = false;  // made just now
};

// Of the files that begin with `files`: reads FILES.head-key, or makes it of `fresh`, 32 bytes,
// where nothing tells that there was one, and writes its public half beside it. Errors: kConflict
// when FILES.head-key.pub or one of `heads`, files of tree heads, is of another key; of those that
// cannot be read nothing is known. kIo, kInvalid for the key file.
base::Result<HeadSecret> open_head_secret(const std::string& files,
                                          const std::vector<std::string>& heads,
                                          std::string_view fresh);

}  // namespace engine::cli

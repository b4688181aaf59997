#include "engine/cli/head_secret.h"

#include <algorithm>
#include <utility>

#include <unistd.h>

#include "engine/cli/files.h"
#include "engine/cli/read_file.h"
#include "engine/journal/secret_file.h"

namespace engine::cli {
namespace {

// Which of the files holds heads, and none by `key`; "": no file does.
std::string foreign(const std::vector<std::string>& heads, const std::string& key) {
  for (const std::string& path : heads) {
    const auto file = journal::read_tree_heads(path);
    if (file && !file->heads.empty() &&
        std::none_of(file->heads.begin(), file->heads.end(),
                     [&](const journal::TreeHead& head) { return head.key == key; })) {
      return path;
    }
  }
  return {};
}

base::Error lost(const std::string& key_file, const std::string& witness) {
  return base::Error(base::ErrorCode::kConflict,
                     "the heads of this journal were signed with another key, as " + witness +
                         " shows, and under a new one nothing that was signed so far could be "
                         "proved any more: bring that key back; to begin with a new one on "
                         "purpose, move " +
                         witness + " away",
                     key_file);
}

}  // namespace

base::Result<HeadSecret> open_head_secret(const std::string& files,
                                          const std::vector<std::string>& heads,
                                          std::string_view fresh) {
  const std::string key_file = files + ".head-key";
  const std::string public_file = key_file + ".pub";
  const bool is_new = ::access(key_file.c_str(), F_OK) != 0;
  if (is_new && ::access(public_file.c_str(), F_OK) == 0) {
    return lost(key_file, public_file);
  }
  if (const std::string file = is_new ? foreign(heads, "") : ""; !file.empty()) {
    return lost(key_file, file);
  }
  const auto secret = journal::load_secret(key_file, fresh);
  if (!secret) {
    return secret.error();
  }
  HeadSecret opened{journal::HeadSigner(*secret), is_new};
  if (const auto pem = read_file(public_file)) {
    const auto key = journal::HeadKey::from_pem(*pem);
    if (key && key->name() != opened.signer.key()) {
      return lost(key_file, public_file);
    }
  }
  if (const std::string file = foreign(heads, opened.signer.key()); !file.empty()) {
    return lost(key_file, file);
  }
  if (auto written = write_file(public_file, opened.signer.public_pem()); !written) {
    return written.error();
  }
  return opened;
}

}  // namespace engine::cli

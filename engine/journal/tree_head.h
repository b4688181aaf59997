#pragma once
// Signed tree heads: at a time, the journal's tree had so many records and this root (RFC 6962
// section 3.5 in our own spelling), signed with Ed25519 (RFC 8032). Who holds an older head sees
// whether anything in the journal was altered or cut off since. docs/formats/journal.md has the
// form.

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/hash.h"
#include "engine/base/result.h"

namespace engine::journal {

struct TreeHead {
  std::uint64_t size = 0;  // records
  base::Digest root{};
  std::string time;       // FHIR instant
  std::string key;        // SHA-256 of the 32 bytes of the public key, hexadecimal
  std::string signature;  // 64 bytes, hexadecimal
};

// The bytes that are signed: five lines.
std::string signed_text(const TreeHead& head);
// One line, with its line break.
std::string print_tree_head(const TreeHead& head);
// Errors: kCorrupt for anything but a line that print_tree_head() gives.
base::Result<TreeHead> parse_tree_head(std::string_view line);

// The public half of a key: verifies.
class HeadKey {
 public:
  // Errors: kInvalid when the text is not an Ed25519 public key in PEM (RFC 8410).
  static base::Result<HeadKey> from_pem(std::string_view pem);
  const std::string& name() const { return name_; }  // as TreeHead::key
  bool verify(const TreeHead& head) const;

 private:
  HeadKey() = default;
  std::string raw_;  // 32 bytes
  std::string name_;
};

// The secret half: signs.
class HeadSigner {
 public:
  // `secret`: the 32 bytes of RFC 8032 section 5.1.5.
  explicit HeadSigner(std::string_view secret);
  TreeHead sign(std::uint64_t size, const base::Digest& root, std::string time) const;
  std::string public_pem() const;
  const std::string& key() const { return name_; }  // as TreeHead::key

 private:
  std::string secret_;
  std::string name_;
};

// That heads can be kept there: nothing is there yet, or a regular file. What cannot be looked at
// (a disk that is away) may become one. Errors: kInvalid.
base::Result<void> check_heads_file(const std::string& path);
// A file of heads as it was read.
struct HeadsFile {
  struct Line {
    std::size_t number = 0;  // from 1
    std::string text;
  };
  std::vector<TreeHead> heads;
  std::vector<std::size_t> lines;  // of each head, from 1
  std::vector<Line> no_heads;      // lines that are none: the first few
};
// The heads of a file, one a line; none when there is no file. A last line without its break was
// being written when the power went, and is left out. Any other line that is no head says nothing,
// neither for the heads around it nor against them. Errors: kIo, kLimit.
base::Result<HeadsFile> read_tree_heads(const std::string& path);
// One sentence for each of the lines that are no head. `where` names the file.
std::vector<std::string> no_heads_of(const HeadsFile& file, const std::string& where);
// Durable on return. Errors: kIo, with the system's words.
base::Result<void> append_tree_head(const std::string& path, const TreeHead& head);
// A file of these, in place of what is there.
base::Result<void> write_tree_heads(const std::string& path, const std::vector<TreeHead>& heads);

// What a set of heads says that it should not: a signature that does not verify, another key, a
// tree that shrank. `where` names the file. One sentence each.
std::vector<std::string> check_tree_heads(const HeadsFile& file, const HeadKey& key,
                                          const std::string& where);

}  // namespace engine::journal

#include "engine/journal/tree_head.h"

#include <algorithm>
#include <charconv>
#include <optional>
#include <utility>

#include "engine/base/ed25519.h"
#include "engine/journal/record.h"
#include "engine/journal/retention.h"

namespace engine::journal {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

std::optional<std::string> bytes_from_hex(std::string_view hex) {
  const auto value = [](char c) {
    return c >= '0' && c <= '9' ? c - '0' : c >= 'a' && c <= 'f' ? c - 'a' + 10 : -1;
  };
  if (hex.size() % 2 != 0) {
    return std::nullopt;
  }
  std::string bytes;
  for (std::size_t i = 0; i < hex.size(); i += 2) {
    const int high = value(hex[i]);
    const int low = value(hex[i + 1]);
    if (high < 0 || low < 0) {
      return std::nullopt;
    }
    bytes.push_back(static_cast<char>(high * 16 + low));
  }
  return bytes;
}

// "name=value" up to the next blank; the text moves behind it.
std::optional<std::string_view> take(std::string_view& text, std::string_view name) {
  if (text.substr(0, name.size()) != name || text.substr(name.size(), 1) != "=") {
    return std::nullopt;
  }
  text.remove_prefix(name.size() + 1);
  const std::size_t end = std::min(text.find(' '), text.size());
  const std::string_view value = text.substr(0, end);
  text.remove_prefix(std::min(end + 1, text.size()));
  return value;
}

}  // namespace

std::string signed_text(const TreeHead& head) {
  return "chartferry tree head 1\nsize " + std::to_string(head.size) + "\nroot " +
         base::to_hex(head.root) + "\ntime " + head.time + "\nkey " + head.key + "\n";
}

std::string print_tree_head(const TreeHead& head) {
  return "size=" + std::to_string(head.size) + " root=" + base::to_hex(head.root) +
         " time=" + head.time + " key=" + head.key + " signature=" + head.signature + "\n";
}

Result<TreeHead> parse_tree_head(std::string_view line) {
  const Error corrupt(ErrorCode::kCorrupt,
                      "not a tree head: size=, root=, time=, key= and signature= in one line");
  std::string_view rest = line.substr(0, line.find('\n'));
  TreeHead head;
  const auto size = take(rest, "size");
  const auto root = take(rest, "root");
  const auto time = take(rest, "time");
  const auto key = take(rest, "key");
  const auto signature = take(rest, "signature");
  if (!size || !root || !time || !key || !signature) {
    return corrupt;
  }
  const auto [end, problem] = std::from_chars(size->data(), size->data() + size->size(), head.size);
  const auto digest = digest_from_hex(*root);
  if (problem != std::errc() || !digest || !is_instant(*time)) {
    return corrupt;
  }
  head.root = *digest;
  head.time = *time;
  head.key = *key;
  head.signature = *signature;
  // There is one spelling of a head, so that comparing files is comparing heads.
  std::string printed = print_tree_head(head);
  printed.pop_back();
  if (printed != line.substr(0, line.find('\n'))) {
    return corrupt;
  }
  return head;
}

Result<HeadKey> HeadKey::from_pem(std::string_view pem) {
  auto raw = base::ed25519_from_pem(pem);
  if (!raw) {
    return std::move(raw).error();
  }
  HeadKey made;
  made.raw_ = std::move(*raw);
  made.name_ = base::sha256_hex(made.raw_);
  return made;
}

bool HeadKey::verify(const TreeHead& head) const {
  const auto signature = bytes_from_hex(head.signature);
  return signature && head.key == name_ &&
         base::ed25519_verify(raw_, signed_text(head), *signature);
}

HeadSigner::HeadSigner(std::string_view secret)
    : secret_(secret), name_(base::sha256_hex(base::ed25519_public(secret))) {}

TreeHead HeadSigner::sign(std::uint64_t size, const base::Digest& root, std::string time) const {
  TreeHead head{size, root, std::move(time), name_, {}};
  head.signature = base::to_hex(base::ed25519_sign(secret_, signed_text(head)));
  return head;
}

std::string HeadSigner::public_pem() const {
  return base::ed25519_to_pem(base::ed25519_public(secret_));
}

std::vector<std::string> no_heads_of(const HeadsFile& file, const std::string& where) {
  std::vector<std::string> out;
  for (const HeadsFile::Line& line : file.no_heads) {
    out.push_back(where + ":" + std::to_string(line.number) +
                  ": this line is no tree head; it proves nothing");
  }
  return out;
}

std::vector<std::string> check_tree_heads(const HeadsFile& file, const HeadKey& key,
                                          const std::string& where) {
  std::vector<std::string> faults;
  std::uint64_t size = 0;
  for (std::size_t i = 0; i < file.heads.size(); ++i) {
    const TreeHead& head = file.heads[i];
    const std::string place = where + ", line " + std::to_string(file.lines[i]);
    if (head.key != key.name()) {
      faults.push_back(place + ": signed with another key (" + head.key.substr(0, 16) +
                       "..., expected " + key.name().substr(0, 16) + "...)");
    } else if (!key.verify(head)) {
      faults.push_back(place + ": the signature does not verify");
    }
    if (head.size < size) {
      faults.push_back(place + ": covers " + std::to_string(head.size) +
                       " records, the head before it " + std::to_string(size));
    }
    size = head.size;
  }
  return faults;
}

}  // namespace engine::journal

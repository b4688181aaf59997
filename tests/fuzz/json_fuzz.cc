// Parsing and printing JSON: what is read prints and reads back the same; the canonical form is
// stable and does not depend on the spelling of the text.
// links: engine_json

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

#include "engine/base/check.h"
#include "engine/json/document.h"
#include "engine/json/write.h"

namespace {

namespace json = engine::json;

// An object with the same member twice has no one value to compare.
bool reads_back(const json::NameTable& names, const std::string& text, const json::Node& original,
                std::string& canonical) {
  json::Document again(names);
  if (!again.parse(text)) {
    return false;
  }
  canonical = json::to_canonical_text(*again.root());
  return json::deep_equal(original, *again.root());
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  static const json::NameTable names;
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  json::Document document(names);
  if (!document.parse(text)) {
    return 0;
  }
  const json::Node& root = *document.root();
  const bool unique = document.duplicates().empty();
  const std::string canonical = json::to_canonical_text(root);
  std::string form;
  ENGINE_CHECK(reads_back(names, json::to_text(root), root, form) || !unique);
  ENGINE_CHECK(form == canonical);
  ENGINE_CHECK(reads_back(names, json::to_pretty_text(root), root, form) || !unique);
  ENGINE_CHECK(form == canonical);
  ENGINE_CHECK(reads_back(names, canonical, root, form) || !unique);
  ENGINE_CHECK(form == canonical);
  return 0;
}

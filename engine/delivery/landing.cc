#include "engine/delivery/landing.h"

#include <utility>

#include "engine/delivery/location.h"
#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::delivery {
namespace {

using json::Document;
using json::Node;

const json::NameTable& names() {
  static const json::NameTable table;
  return table;
}

bool is_true(const Node* node) {
  return node != nullptr && node->is_boolean() && node->boolean;
}

}  // namespace

std::string to_text(const Landing& landing) {
  Document out(names());
  out.set_root(out.make_array());
  for (const LandedEntry& entry : landing) {
    Node* row = out.make_object();
    if (!entry.location.empty()) {
      out.append(row, "location", out.make_string(entry.location));
    }
    if (!entry.etag.empty()) {
      out.append(row, "etag", out.make_string(entry.etag));
    }
    if (entry.unproven) {
      out.append(row, "unproven", out.make_boolean(true));
    }
    if (entry.not_sent) {
      out.append(row, "notSent", out.make_boolean(true));
    }
    Document::append(out.root(), row);
  }
  return json::to_text(*out.root());
}

base::Result<Landing> parse_landing(std::string_view text) {
  Document as_is(names());
  Document mended(names());
  const bool good = as_is.parse(text).has_value();
  const Document& document = good ? as_is : mended;
  if ((!good && !mended.parse(without_odd_bytes(text))) || !document.root()->is_array()) {
    return base::Error(base::ErrorCode::kCorrupt, "a landing is no list");
  }
  Landing out;
  for (const Node& row : *document.root()) {
    LandedEntry entry;
    entry.location = row.string_at("location");
    entry.etag = row.string_at("etag");
    entry.unproven = is_true(row.find("unproven"));
    entry.not_sent = is_true(row.find("notSent"));
    out.push_back(std::move(entry));
  }
  return out;
}

}  // namespace engine::delivery

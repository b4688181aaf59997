#include "engine/fhir/reference.h"

#include "engine/fhir/ascii.h"
#include "engine/fhir/primitives.h"

namespace engine::fhir {
namespace {

bool is_type_name(std::string_view text) {
  if (text.empty() || !is_upper(text.front())) {
    return false;
  }
  for (const char c : text) {
    if (!is_letter(c)) {
      return false;
    }
  }
  return true;
}

bool is_id(std::string_view text) {
  return !text.empty() && primitive_fault(Primitive::kId, text) == nullptr;
}

// Splits off what follows the last slash.
std::string_view take_last(std::string_view& path) {
  const std::size_t slash = path.rfind('/');
  const std::string_view last = slash == std::string_view::npos ? path : path.substr(slash + 1);
  path = slash == std::string_view::npos ? std::string_view() : path.substr(0, slash);
  return last;
}

// Reads [base/]Type/id[/_history/version] from the end.
bool read_restful(std::string_view path, ParsedReference& out) {
  std::string_view last = take_last(path);
  std::string_view before = take_last(path);
  const bool versioned = before == "_history";
  if (versioned) {
    out.version = last;
    last = take_last(path);
    before = take_last(path);
  }
  out.id = last;
  out.type = before;
  out.base = path;
  return is_id(out.id) && is_type_name(out.type) && (!versioned || is_id(out.version));
}

}  // namespace

bool is_absolute_uri(std::string_view text) {
  if (text.empty() || !is_letter(text.front())) {
    return false;
  }
  for (const char c : text) {
    if (c == ':') {
      return true;
    }
    if (!is_alphanumeric(c) && c != '+' && c != '-' && c != '.') {
      return false;
    }
  }
  return false;
}

ParsedReference parse_reference(std::string_view text) {
  ParsedReference out;
  if (text.empty()) {
    return out;
  }
  const std::size_t hash = text.find('#');
  if (hash != std::string_view::npos) {
    out.fragment = text.substr(hash + 1);
    text = text.substr(0, hash);
    if (hash == 0) {
      out.form = ReferenceForm::kContained;
      return out;
    }
  }
  if (text.starts_with("urn:")) {
    out.form = ReferenceForm::kUrn;
    return out;
  }
  const bool absolute = is_absolute_uri(text);
  const std::size_t query = text.find('?');
  if (query != std::string_view::npos && !absolute) {
    out.type = text.substr(0, query);
    const bool well = is_type_name(out.type) && query + 1 < text.size();
    out.form = well ? ReferenceForm::kConditional : ReferenceForm::kUnreadable;
    return out;
  }
  ParsedReference restful = out;
  const bool well = query == std::string_view::npos && read_restful(text, restful);
  if (absolute) {
    if (well && !restful.base.empty()) {
      out = restful;
      out.form = ReferenceForm::kAbsolute;
    } else {
      out.form = ReferenceForm::kOther;
    }
    return out;
  }
  if (well && restful.base.empty() && text.front() != '/') {
    out = restful;
    out.form = ReferenceForm::kRelative;
  } else {
    out.form = ReferenceForm::kUnreadable;
  }
  return out;
}

Canonical parse_canonical(std::string_view text) {
  Canonical out;
  const std::size_t hash = text.find('#');
  if (hash != std::string_view::npos) {
    out.fragment = text.substr(hash + 1);
    text = text.substr(0, hash);
  }
  const std::size_t bar = text.find('|');
  out.url = text.substr(0, bar);
  if (bar != std::string_view::npos) {
    out.version = text.substr(bar + 1);
  }
  return out;
}

}  // namespace engine::fhir

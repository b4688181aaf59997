#include "engine/therapy/ids.h"

#include <array>

namespace engine::therapy {
namespace {

constexpr std::array<bool, 256> make_plain() {
  std::array<bool, 256> plain{};
  for (const char c : std::string_view("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
                                       "0123456789-._~:/@!*'()")) {
    plain[static_cast<unsigned char>(c)] = true;
  }
  return plain;
}
constexpr std::array<bool, 256> kPlain = make_plain();

// FHIR search: '\', '|', ',' and '$' inside a value are escaped by '\'; then what has a meaning in
// a query of a URL is percent-encoded. The rest stays readable.
void append_value(std::string_view text, std::string& out) {
  constexpr std::string_view kHex = "0123456789ABCDEF";
  std::size_t start = 0;  // of what stays as it is
  for (std::size_t i = 0; i < text.size(); ++i) {
    const auto byte = static_cast<unsigned char>(text[i]);
    if (kPlain[byte]) {
      continue;
    }
    out.append(text, start, i - start);
    start = i + 1;
    if (byte == '\\' || byte == '|' || byte == ',' || byte == '$') {
      out += "%5C";
    }
    out.push_back('%');
    out.push_back(kHex[byte >> 4]);
    out.push_back(kHex[byte & 15]);
  }
  out.append(text, start);
}

}  // namespace

base::Uuid session_space(std::string_view system, std::string_view value) {
  std::string name(system);
  name.push_back('|');
  name += value;
  return base::name_based_uuid(base::kNamespaceUrl, name);
}

base::Uuid entry_role_id(const base::Uuid& session, std::string_view entry, std::string_view role) {
  std::string name(entry);
  name.push_back('/');
  name += role;
  return base::name_based_uuid(session, name);
}

std::string identifier_query(std::string_view system, std::string_view value) {
  std::string query = "identifier=";
  append_value(system, query);
  query.push_back('|');
  append_value(value, query);
  return query;
}

}  // namespace engine::therapy

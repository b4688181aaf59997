#pragma once
// The target of a request taken apart: path segments and query parameters, percent-decoded (RFC
// 3986; '+' in a query stands for a space, as forms write it).

#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace sandbox::record_server {

using Parameters = std::vector<std::pair<std::string, std::string>>;

struct Target {
  std::vector<std::string> segments;  // empty ones left out
  Parameters parameters;
};

// Throws Refusal 400 on a broken escape.
Target parse_target(std::string_view text);
// "a=b&c=d"; throws as parse_target.
Parameters parse_query(std::string_view text);
std::string percent_encode(std::string_view text);
std::string to_query(const Parameters& parameters);

}  // namespace sandbox::record_server

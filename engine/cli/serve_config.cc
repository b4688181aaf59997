#include "engine/cli/serve_config.h"

#include <algorithm>
#include <charconv>
#include <map>
#include <set>
#include <sstream>
#include <string_view>
#include <type_traits>
#include <utility>

#include <toml++/toml.h>

#include "engine/base/limits.h"
#include "engine/delivery/http_peer.h"
#include "engine/journal/open_store.h"
#include "engine/journal/retention.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;

constexpr std::size_t kNameMax = 100;

std::string place(const std::string& name, const toml::source_region& region) {
  return name + ":" + std::to_string(region.begin.line) + ":" + std::to_string(region.begin.column);
}

using Members = std::map<std::string_view, std::string*>;

base::Result<void> read_texts(const toml::table& table, const Members& members,
                              const std::set<std::string_view>& others, const std::string& name) {
  for (const auto& [key, node] : table) {
    if (others.count(key.str()) > 0) {
      continue;
    }
    const auto member = members.find(key.str());
    if (member == members.end()) {
      return Error(ErrorCode::kInvalid, "there is no setting '" + std::string(key.str()) + "'",
                   place(name, node.source()));
    }
    const auto text = node.value<std::string>();
    if (!node.is_string() || !text) {
      return Error(ErrorCode::kInvalid, "'" + std::string(key.str()) + "' is a text in quotes",
                   place(name, node.source()));
    }
    *member->second = *text;
  }
  return {};
}

// A number of the table within its bounds; what is not there keeps its value.
template <class Number>
base::Result<void> read_number(const toml::table& table, std::string_view key, Number least,
                               Number most, const std::string& name, Number& to) {
  const toml::node* node = table.get(key);
  if (node == nullptr) {
    return {};
  }
  const auto number = node->value<double>();
  const bool whole = node->is_integer() || std::is_floating_point_v<Number>;
  if (!node->is_number() || !whole || !number || !(*number >= static_cast<double>(least)) ||
      !(*number <= static_cast<double>(most))) {
    std::ostringstream bounds;
    bounds << least << " to " << most;
    return Error(ErrorCode::kInvalid, "'" + std::string(key) + "' is a number from " + bounds.str(),
                 place(name, node->source()));
  }
  to = static_cast<Number>(*number);
  return {};
}

base::Result<void> read_limits(const toml::table& table, const std::string& name,
                               delivery::CourierLimits& limits) {
  namespace bounds = base::limits;
  auto read = read_number<std::size_t>(table, "in-flight", 1, bounds::kInFlightSetMax, name,
                                       limits.in_flight_max);
  return read ? read_number(table, "requests-per-second", bounds::kRequestsPerSecondMin,
                            bounds::kRequestsPerSecondMax, name, limits.requests_per_second)
              : read;
}

// One text, or a list of them.
base::Result<void> read_list(const toml::table& table, std::string_view key,
                             const std::string& name, std::vector<std::string>& to) {
  const toml::node* node = table.get(key);
  if (node == nullptr) {
    return {};
  }
  to.clear();
  if (const toml::array* list = node->as_array()) {
    for (const toml::node& one : *list) {
      to.push_back(one.is_string() ? one.value_or(std::string()) : std::string());
    }
  } else {
    to.push_back(node->is_string() ? node->value_or(std::string()) : std::string());
  }
  if (to.empty() || std::find(to.begin(), to.end(), std::string()) != to.end()) {
    return Error(ErrorCode::kInvalid,
                 "'" + std::string(key) + "' is a text in quotes, or a list of them",
                 place(name, node->source()));
  }
  return {};
}

base::Result<void> read_targets(const toml::table& table, const std::string& name,
                                ServeConfig& config) {
  const toml::node* node = table.get("target");
  if (node == nullptr) {
    return {};
  }
  const toml::array* list = node->as_array();
  if (list == nullptr || !list->is_array_of_tables()) {
    return Error(ErrorCode::kInvalid, "write each target as [[target]]",
                 place(name, node->source()));
  }
  for (const toml::node& one : *list) {
    TargetConfig target;
    const Members members = {{"name", &target.name},
                             {"url", &target.url},
                             {"ca", &target.ca_file},
                             {"authorization-file", &target.authorization_file},
                             {"only", &target.only},
                             {"site", &target.translator.site},
                             {"mappings", &target.translator.mappings},
                             {"overlay", &target.translator.overlay},
                             {"profiles", &target.translator.profiles},
                             {"settings", &target.translator.settings}};
    const toml::table& table_of_one = *one.as_table();
    auto read = read_texts(table_of_one, members, {"in-flight", "requests-per-second"}, name);
    if (read) {
      read = read_limits(table_of_one, name, target.limits);
    }
    if (!read) {
      return read;
    }
    config.targets.push_back(std::move(target));
  }
  return {};
}

base::Result<void> read_notices(const toml::table& table, const std::string& name,
                                TargetConfig& notices) {
  const toml::node* node = table.get("notices");
  if (node == nullptr) {
    return {};
  }
  const toml::table* section = node->as_table();
  if (section == nullptr) {
    return Error(ErrorCode::kInvalid, "write who is told of outcomes as [notices]",
                 place(name, node->source()));
  }
  const Members members = {{"url", &notices.url},
                           {"ca", &notices.ca_file},
                           {"authorization-file", &notices.authorization_file}};
  auto read = read_texts(*section, members, {}, name);
  if (read && notices.url.empty()) {
    return Error(ErrorCode::kInvalid, "[notices] needs a 'url'", place(name, node->source()));
  }
  return read;
}

base::Result<void> check_targets(const std::vector<TargetConfig>& targets) {
  if (targets.empty()) {
    return Error(ErrorCode::kInvalid,
                 "say which record server to send to ([[target]] with url, --target URL)");
  }
  std::set<std::string> names;
  for (const TargetConfig& target : targets) {
    const bool plain =
        !target.name.empty() && std::all_of(target.name.begin(), target.name.end(), [](char c) {
          return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '-';
        });
    if (!plain) {
      return Error(ErrorCode::kInvalid, "a target's name has small letters, digits and '-' only",
                   target.name);
    }
    if (!names.insert(target.name).second) {
      return Error(ErrorCode::kInvalid, "two targets have the same name", target.name);
    }
  }
  return {};
}

base::Result<void> check_hosts(const std::vector<std::string>& hosts) {
  for (const std::string& host : hosts) {
    const bool address = host.starts_with('[') && host.ends_with(']');
    const bool good = std::all_of(host.begin(), host.end(), [address](char c) {
      return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') ||
             c == '-' || c == '.' || c == '_' || (address && (c == ':' || c == '[' || c == ']'));
    });
    if (!good) {
      return Error(ErrorCode::kInvalid,
                   "a host is a name or an address as in an URL ([::1]), without a port", host);
    }
  }
  return {};
}

// Notices hold ids and codes of sessions, which are not for others to read on the way, and nobody
// must be able to keep a tree head from getting where it goes. `what`: "notices go".
base::Result<void> check_address(const std::string& text, const std::string& what) {
  const auto url = delivery::parse_base_url(text);
  if (!url) {
    return url.error();
  }
  if (url->in_clear()) {
    return Error(ErrorCode::kInvalid,
                 what + " to an https:// address, or to this machine (127.0.0.1, [::1], localhost)",
                 text);
  }
  return {};
}

}  // namespace

base::Result<void> read_config(std::string_view text, const std::string& name,
                               ServeConfig& config) {
  toml::table table;
  try {
    table = toml::parse(text, name);
  } catch (const toml::parse_error& problem) {
    return Error(ErrorCode::kInvalid, std::string(problem.description()),
                 place(name, problem.source()));
  }
  const Members members = {{"listen", &config.listen},
                           {"tls-certificate", &config.tls_certificate},
                           {"tls-key", &config.tls_key},
                           {"people", &config.people},
                           {"journal", &config.journal},
                           {"files", &config.files},
                           {"name", &config.name},
                           {"key", &config.key_file},
                           {"retention", &config.retention},
                           {"ward", &config.ward},
                           {"site", &config.translator.site},
                           {"mappings", &config.translator.mappings},
                           {"overlay", &config.translator.overlay},
                           {"profiles", &config.translator.profiles},
                           {"settings", &config.translator.settings}};
  const std::pair<std::string_view, bool*> switches[] = {
      {"guarded", &config.guarded}, {"approval-needed", &config.approval_needed}};
  auto read = read_texts(table, members,
                         {"target", "guarded", "approval-needed", "backlog-max", "notices",
                          "journal-key", "anchor", "hosts"},
                         name);
  if (read) {
    read = read_list(table, "journal-key", name, config.journal_keys);
  }
  if (read) {
    read = read_list(table, "anchor", name, config.anchors);
  }
  if (read) {
    read = read_list(table, "hosts", name, config.hosts);
  }
  if (read) {
    read = read_number<std::size_t>(table, "backlog-max", 1, base::limits::kBacklogSetMax, name,
                                    config.backlog_max);
  }
  if (!read) {
    return read;
  }
  for (const auto& [key, to] : switches) {
    const toml::node* value = table.get(key);
    if (value != nullptr && !value->is_boolean()) {
      return Error(ErrorCode::kInvalid, "'" + std::string(key) + "' is true or false",
                   place(name, value->source()));
    }
    *to = value != nullptr ? value->value_or(false) : *to;
  }
  read = read_targets(table, name, config);
  return read ? read_notices(table, name, config.notices) : read;
}

base::Result<ListenAddress> parse_listen(std::string_view text) {
  const std::size_t colon = text.rfind(':');
  ListenAddress out;
  bool good = colon != std::string_view::npos;
  if (good) {
    std::string_view address = text.substr(0, colon);
    const std::string_view digits = text.substr(colon + 1);
    const auto [end, error] =
        std::from_chars(digits.data(), digits.data() + digits.size(), out.port);
    good = !digits.empty() && error == std::errc() && end == digits.data() + digits.size();
    if (address.size() > 2 && address.front() == '[' && address.back() == ']') {
      address = address.substr(1, address.size() - 2);
    } else {
      good = good && address.find(':') == std::string_view::npos;
    }
    out.address = address.empty() ? "127.0.0.1" : std::string(address);
  }
  if (!good) {
    return Error(ErrorCode::kInvalid, "say where to listen as ADDRESS:PORT", std::string(text));
  }
  return out;
}

std::string files_of(const std::string& journal, const std::string& files) {
  if (!files.empty()) {
    return files;
  }
  return journal::is_database(journal) ? "journal" : journal;
}

bool is_address(const std::string& anchor) {
  return anchor.starts_with("https://") || anchor.starts_with("http://");
}

std::vector<std::string> hosts_of(const ServeConfig& config) {
  const auto listen = parse_listen(config.listen);
  const bool here = listen && delivery::is_this_machine(listen->address);
  if (config.hosts.empty() && !(here && config.people.empty())) {
    return {};
  }
  std::vector<std::string> out = {"localhost", "127.0.0.1", "[::1]"};
  if (listen) {
    const bool bare = listen->address.find(':') != std::string::npos;
    out.push_back(bare ? "[" + listen->address + "]" : listen->address);
  }
  out.insert(out.end(), config.hosts.begin(), config.hosts.end());
  return out;
}

base::Result<void> check_config(const ServeConfig& config) {
  if (config.journal.empty()) {
    return Error(ErrorCode::kInvalid,
                 "say which journal to write (journal = \"FILE\", --journal FILE)");
  }
  if (journal::is_database(config.journal) && config.files.empty()) {
    return Error(ErrorCode::kInvalid,
                 "a journal in a database needs a place for this engine's keys, signed heads and "
                 "mapping sets (files = \"PREFIX\", --files PREFIX)");
  }
  const bool one_line = std::none_of(config.name.begin(), config.name.end(), [](char c) {
    return static_cast<unsigned char>(c) < 0x20 || c == 0x7F;
  });
  if (!one_line || config.name.size() > kNameMax) {
    return Error(ErrorCode::kInvalid,
                 "an engine's name has at most 100 bytes and no control characters");
  }
  if (auto named = check_targets(config.targets); !named) {
    return named;
  }
  const auto listen = parse_listen(config.listen);
  if (!listen) {
    return listen.error();
  }
  if (config.tls_certificate.empty() != config.tls_key.empty()) {
    return Error(
        ErrorCode::kInvalid,
        "TLS needs both a certificate and its key (tls-certificate = \"FILE\" and tls-key = "
        "\"FILE\", --tls-certificate FILE --tls-key FILE)");
  }
  if (auto named = check_hosts(config.hosts); !named) {
    return named;
  }
  if (!delivery::is_this_machine(listen->address) && !config.guarded &&
      (config.tls_certificate.empty() || config.people.empty())) {
    const std::string missing = config.people.empty()
                                    ? "a people file (people = \"FILE\", --people FILE)"
                                    : "TLS (tls-certificate and tls-key)";
    return Error(
        ErrorCode::kInvalid,
        "beyond this machine the engine listens only with TLS and a people file; give it " +
            missing +
            ", or say with guarded = true (--guarded) that a gateway in front of it does "
            "what is missing",
        config.listen);
  }
  if (!config.retention.empty()) {
    if (const auto kept = journal::parse_retention(config.retention); !kept) {
      return kept.error();
    }
  }
  for (const std::string& anchor : config.anchors) {
    const auto good =
        is_address(anchor) ? check_address(anchor, "tree heads go") : base::Result<void>();
    if (!good) {
      return good;
    }
  }
  return config.notices.url.empty() ? base::Result<void>()
                                    : check_address(config.notices.url, "notices go");
}

}  // namespace engine::cli

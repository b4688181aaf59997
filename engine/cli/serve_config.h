#pragma once
// What `chartferry serve` is told: by a TOML file, by flags, or by both (flags win).

#include <cstdint>
#include <string>
#include <vector>

#include "engine/base/limits.h"
#include "engine/base/result.h"
#include "engine/cli/translator_files.h"
#include "engine/delivery/courier.h"

namespace engine::cli {

struct TargetConfig {
  std::string name = "main";
  std::string url;
  std::string ca_file;
  std::string authorization_file;  // holds the value of the Authorization header
  // Its own maps and profiles; what is empty is the engine's.
  TranslatorFiles translator;
  // FHIRPath over the session document: only sessions for which it is true go there. Empty: all.
  std::string only;
  delivery::CourierLimits limits;
};

struct ServeConfig {
  std::string listen = "127.0.0.1:8080";
  // Beyond this machine the engine listens only with TLS and a people file of its own, unless this
  // says that something in front of it does what it does not.
  bool guarded = false;
  // Names beside the loopback ones that the engine goes by, as in an URL, without a port.
  std::vector<std::string> hosts;
  std::string people;           // the people file; empty: no sign-in
  std::string tls_certificate;  // PEM files; both or neither
  std::string tls_key;
  std::string journal;  // a file, or postgresql://USER@HOST/DATABASE
  std::string files;    // of a journal in a database: where its keys, heads and sets are, a prefix
  std::string name;     // of this engine among those that share a database; empty: the host's name
  // Where else the signed tree heads go: files, and addresses that they are posted to.
  std::vector<std::string> anchors;
  std::string key_file;  // empty: the journal's path with ".key"
  // Master keys of the journal's bodies (journal::MasterKeys::load); none: bodies are not sealed.
  std::vector<std::string> journal_keys;
  // How long bodies of ended sessions are kept (journal::parse_retention); empty: for ever.
  std::string retention;
  std::string port_file;
  std::string ward;  // the ward list of the Round page; empty: none
  TranslatorFiles translator;
  bool approval_needed = false;  // a changed mapping set waits for a named person
  std::size_t backlog_max = base::limits::kBacklogMax;  // see intake::Intake
  std::vector<TargetConfig> targets;
  TargetConfig notices;  // who is told of outcomes; no url: nobody
};

struct ListenAddress {
  std::string address;
  std::uint16_t port = 0;
};
// "127.0.0.1:8080", "[::1]:8080", ":0". Errors: kInvalid.
base::Result<ListenAddress> parse_listen(std::string_view text);

// Whether an anchor is an address that heads are posted to, and no file.
bool is_address(const std::string& anchor);

// Errors: kInvalid with line and column, also for a key that does not exist.
base::Result<void> read_config(std::string_view text, const std::string& name, ServeConfig& config);
// Prefix of the files that go with a journal.
std::string files_of(const std::string& journal, const std::string& files);
// What a Host header may name; nothing when it may name anything: where no page that a browser was
// led here with could do more than its user, because people sign in, and the site named none.
std::vector<std::string> hosts_of(const ServeConfig& config);

// What is missing or does not fit together. Errors: kInvalid.
base::Result<void> check_config(const ServeConfig& config);

}  // namespace engine::cli

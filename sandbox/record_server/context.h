#pragma once
// What every interaction needs, and which of them the server offers; the abilities can be switched
// while it runs, to show a sender poorer servers.

#include <string>

#include "engine/json/document.h"
#include "sandbox/record_server/store.h"

namespace sandbox::record_server {

struct Abilities {
  bool transaction = true;
  bool batch = true;
  bool conditional_create = true;
  bool conditional_update = true;
  bool conditional_delete = true;
  bool update_create = true;
  // Refuses a reference that is malformed or points to what is not here.
  bool enforce_references = true;
};

struct Context {
  Store& store;
  const engine::json::NameTable& names;
  const Abilities& abilities;
  std::string base_url;  // without a trailing slash
  std::string instant;   // of this request
};

}  // namespace sandbox::record_server

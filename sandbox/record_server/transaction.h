#pragma once
// Bundles of type transaction and batch (FHIR R4 http, "batch/transaction"): processing order
// DELETE, POST, PUT, GET, then the references; a transaction is done as a whole or not at all.

#include <functional>

#include "sandbox/record_server/interactions.h"

namespace sandbox::record_server {

// Serves one request of a bundle's entry: any interaction in a batch, reading ones in a
// transaction.
using ServeOne = std::function<Response(const Request&)>;

// The body of a 200 answer. Writes into the store's open unit of work. Throws Refusal.
std::string run_transaction(Context& context, engine::json::Document& bundle,
                            std::string_view prefer, const ServeOne& serve);
// Independent entries; each is served by itself, in the same processing order.
std::string run_batch(const Context& context, const engine::json::Document& bundle,
                      std::string_view prefer, const ServeOne& serve);

}  // namespace sandbox::record_server

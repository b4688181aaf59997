#pragma once
// References inside resources: finding, resolving and rewriting them (FHIR R4 references; http,
// transaction rules).

#include <functional>
#include <string>
#include <string_view>
#include <unordered_map>

#include "engine/json/document.h"
#include "sandbox/record_server/context.h"

namespace sandbox::record_server {

// fullUrl of an entry -> "Type/id" on this server.
using Links = std::unordered_map<std::string, std::string>;

// Rewrites what points to an entry of the same transaction: Reference.reference, members of type
// uri, url, oid and uuid, and href and src of the narrative; never canonicals and identifiers. A
// relative reference is taken against the root of `full_url`, the URL of the entry that holds the
// resource.
void rewrite_links(engine::json::Document& document, engine::json::Node& resource,
                   const Links& links, std::string_view full_url);

enum class Conditional : unsigned char { kResolve, kRefuse };

// Resolves "Type?query" references where that is asked for, and checks that what is pointed to
// exists. True when something was rewritten. Throws Refusal: 412 for none or several matches, 422
// for a literal one that is not here, 400 for a bundle-local one that no entry has.
bool settle_references(const Context& context, engine::json::Document& document,
                       engine::json::Node& resource, Conditional conditional);

// FHIRPath of a node from the root of its document: "Bundle.entry[2].resource.subject.reference".
std::string expression_of(const engine::json::Node& node);

}  // namespace sandbox::record_server

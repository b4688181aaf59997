#pragma once
// The reading interactions (FHIR R4 http and search): read, vread, history and search, with paging.

#include "sandbox/record_server/context.h"
#include "sandbox/record_server/message.h"
#include "sandbox/record_server/target.h"

namespace sandbox::record_server {

Response read(const Context& context, std::string_view type, std::string_view id,
              std::string_view if_none_match);
Response read_version(const Context& context, std::string_view type, std::string_view id,
                      std::string_view version);
// Of one resource, of a type (`id` empty) or of everything (both empty). Newest first.
Response history(const Context& context, std::string_view type, std::string_view id,
                 const Parameters& parameters);
Response search(const Context& context, std::string_view type, const Parameters& parameters,
                std::string_view prefer);

}  // namespace sandbox::record_server

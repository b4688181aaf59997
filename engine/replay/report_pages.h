#pragma once
// Records of a query page by page. For this folder.

#include <functional>
#include <string>

#include "engine/base/result.h"
#include "engine/journal/store.h"
#include "engine/json/document.h"
#include "engine/replay/reports.h"

namespace engine::replay {

// Until the visitor fails. What cannot be read goes into `unread`, also a record of which the
// visitor says so (kCorrupt). Errors: of the store and of `visit`.
base::Result<void> each_record(const journal::Store& store, journal::Query query, Unread& unread,
                               const std::function<base::Result<void>(journal::Record&)>& visit);

// The document of an accepted record, read into `document`. Errors: of the store, kCorrupt.
base::Result<void> read_document(const journal::Store& store, journal::Position position,
                                 json::Document& document);

// "Robin Sample (https://hill.example/ids/staff|T-21)" of a person of a session document; "" for
// none.
std::string person_text(const json::Node* person);

}  // namespace engine::replay

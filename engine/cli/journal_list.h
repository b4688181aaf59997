#pragma once
// Records and states of a journal, a line each, for people and for programs.

#include <cstddef>
#include <string>

#include "engine/journal/store.h"

namespace engine::cli {

void print_line(const journal::Record& record);
// A record's members by the names that its head gives them; empty ones are left out.
void print_json_line(const journal::Record& record);

struct ListWish {
  journal::Query query;   // without its limit; of revisions in a state, over their acceptance
  std::size_t limit = 0;  // 0: all
  bool as_json = false;
};
// The records that fit, up to the one that is the last now, oldest first and a page at a time. When
// the limit leaves some out, that is said. Returns the exit status.
int list_records(const journal::Store& store, const ListWish& wish);
// Likewise the revisions in a state, by its name, for each target, with what stands against them.
int list_legs(const journal::Store& store, const std::string& state, const ListWish& wish);

}  // namespace engine::cli

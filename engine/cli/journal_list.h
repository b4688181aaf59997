#pragma once
// Records and states of a journal, a line each, for people and for programs.

#include <cstddef>
#include <string>

#include "engine/journal/store.h"

namespace engine::cli {

void print_line(const journal::Record& record);
// A record's members by the names that its head gives them; empty ones are left out.
void print_json_line(const journal::Record& record);
// Revisions in a state, by its name, with what stands against them. Returns the exit status.
int list_legs(const journal::Store& store, const std::string& name, std::size_t limit);

}  // namespace engine::cli

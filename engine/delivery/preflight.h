#pragma once
// What a record server says that it can do (FHIR R4 CapabilityStatement), held against what
// chartferry asks of one. Pure.

#include <string>
#include <string_view>
#include <vector>

#include "engine/delivery/http_peer.h"
#include "engine/json/node.h"

namespace engine::delivery {

struct Ability {
  enum class Grade {
    kThere,
    kAbsent,  // chartferry works, with the consequence that is told
    kNeeded,  // nothing lands without it
  };
  Grade grade = Grade::kThere;
  std::string name;
  std::string found;        // in the server's words, shortened; "" when it says nothing
  std::string consequence;  // of its not being there; empty when it is
};

// One row for each ability, in the order in which a person would put them right.
std::vector<Ability> judge_capabilities(const json::Node& statement);

// The row for a read-only question (a search that finds nothing) with the target's own sign-in.
Ability judge_search(int status);
// Whether readings of patients would cross a network in the clear.
Ability judge_transport(const BaseUrl& url);

}  // namespace engine::delivery

#pragma once
// People whom a record server does not know. They are named in what is sent by identifier and
// display, with a conditional reference beside them, and a server refuses a transaction whose
// reference finds nobody. What was recorded of a patient does not wait for that: the reference is
// left out, the name stays. Pure.

#include <set>
#include <string>
#include <string_view>

namespace engine::delivery {

// Of a landing: somebody is named there without a reference.
inline constexpr const char* kUnknownPerson = "unknown-person";

// "Practitioner?identifier=..." of a bundle: those beside which an identifier stands.
std::set<std::string> people_in(std::string_view bundle);
// The bundle without these references.
std::string without_people(std::string_view bundle, const std::set<std::string>& people);
// Whether a conditional reference is one to a person, which may be missing on the server.
bool is_of_person(std::string_view reference);

}  // namespace engine::delivery

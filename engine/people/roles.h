#pragma once
// What each role may do: the one table. docs/decisions/0015-who-may.md says why it is so; a person
// may have several roles. Values; thread safe.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace engine::people {

enum class Role : std::uint8_t {
  kTherapist,  // treats patients
  kEngineer,   // looks after maps, targets and what is held
  kAuditor,    // looks at what was recorded, and why
  kOperator,   // keeps the engine running
  kSender,     // a system that sends sessions
  kWatcher,    // a system that watches the engine
};
std::string_view name_of(Role role);
std::optional<Role> role_of(std::string_view name);
// A role of systems is held by tokens only, the others by persons only: what a system reads has no
// person who answers for it.
bool is_of_systems(Role role);
// "therapist, engineer, ...", for the reader of an error.
std::string role_names(bool of_systems);

class Roles {
 public:
  void add(Role role) { bits_ |= bit(role); }
  bool has(Role role) const { return (bits_ & bit(role)) != 0; }
  bool empty() const { return bits_ == 0; }
  std::vector<Role> list() const;
  // "therapist,auditor"
  std::string text() const;
  friend bool operator==(const Roles&, const Roles&) = default;

 private:
  static std::uint32_t bit(Role role) { return 1U << static_cast<unsigned>(role); }
  std::uint32_t bits_ = 0;
};
// Of text(). Nothing when a name is not known, or there is none.
std::optional<Roles> parse_roles(std::string_view text);

enum class Right : std::uint8_t {
  kOpen,         // needs no sign-in: the pages' files, descriptions, health
  kSelf,         // of everybody who is signed in: who am I, sign out
  kSend,         // sessions and their revisions
  kPreview,      // what would become of a session
  kFollow,       // where a session is
  kTraffic,      // the latest sessions and events
  kReadWard,     // the ward's patients with their orders
  kReadRecord,   // documents and histories of patients
  kReadMessage,  // a revision with what became of it, and why it is held, with the values
  kReadLog,      // the journal's records, with what people wrote
  kAudit,        // is the journal whole, do the maps give again what they gave
  kSearch,       // the traffic, also by patient
  kHandOut,      // a patient's sheet: hand a link out, end it
  kSteer,        // held ones: release, remap, withdraw
  kSeeTargets,
  kSteerTargets,  // pause, resume
  kSeeMapping,
  kChangeMapping,  // approve, roll back
  kMetrics,
};
std::string_view name_of(Right right);
// What the roles may beyond what is open to everybody.
std::vector<Right> rights_of(const Roles& roles);
// "engineer, operator": whose right it is, for the reader of an error.
std::string roles_with(Right right);
// Reading what patients' records hold: noted, and with a reason unless the patient is treated.
bool reads_patients(Right right);

bool may(const Roles& roles, Right right);

}  // namespace engine::people

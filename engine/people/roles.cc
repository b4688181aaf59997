#include "engine/people/roles.h"

#include <algorithm>
#include <array>
#include <initializer_list>
#include <utility>

namespace engine::people {
namespace {

constexpr std::pair<Role, std::string_view> kNames[] = {
    {Role::kTherapist, "therapist"}, {Role::kEngineer, "engineer"}, {Role::kAuditor, "auditor"},
    {Role::kOperator, "operator"},   {Role::kSender, "sender"},     {Role::kWatcher, "watcher"}};

struct Row {
  Right right;
  std::string_view name;
  std::initializer_list<Role> roles;
};

const auto& rows() {
  static const std::array<Row, 17> table = {{
      {Right::kSend, "send", {Role::kTherapist, Role::kSender}},
      {Right::kPreview, "preview", {Role::kTherapist, Role::kEngineer, Role::kSender}},
      {Right::kFollow,
       "follow",
       {Role::kTherapist, Role::kEngineer, Role::kAuditor, Role::kOperator, Role::kSender,
        Role::kWatcher}},
      {Right::kTraffic,
       "traffic",
       {Role::kTherapist, Role::kEngineer, Role::kAuditor, Role::kOperator, Role::kWatcher}},
      {Right::kReadWard, "read-ward", {Role::kTherapist}},
      {Right::kReadRecord, "read-record", {Role::kTherapist, Role::kAuditor}},
      {Right::kReadMessage, "read-message", {Role::kTherapist, Role::kEngineer, Role::kAuditor}},
      {Right::kReadLog, "read-log", {Role::kAuditor}},
      {Right::kAudit, "audit", {Role::kAuditor}},
      {Right::kSearch,
       "search",
       {Role::kTherapist, Role::kEngineer, Role::kAuditor, Role::kOperator}},
      {Right::kHandOut, "hand-out", {Role::kTherapist}},
      {Right::kSteer, "steer", {Role::kEngineer, Role::kOperator}},
      {Right::kSeeTargets,
       "see-targets",
       {Role::kEngineer, Role::kAuditor, Role::kOperator, Role::kWatcher}},
      {Right::kSteerTargets, "steer-targets", {Role::kEngineer, Role::kOperator}},
      {Right::kSeeMapping, "see-mapping", {Role::kEngineer, Role::kAuditor, Role::kOperator}},
      {Right::kChangeMapping, "change-mapping", {Role::kEngineer}},
      {Right::kMetrics, "metrics", {Role::kEngineer, Role::kOperator, Role::kWatcher}},
  }};
  return table;
}

}  // namespace

std::string_view name_of(Role role) {
  return kNames[static_cast<std::size_t>(role)].second;
}

std::optional<Role> role_of(std::string_view name) {
  for (const auto& [role, text] : kNames) {
    if (text == name) {
      return role;
    }
  }
  return std::nullopt;
}

bool is_of_systems(Role role) {
  return role == Role::kSender || role == Role::kWatcher;
}

std::string role_names(bool of_systems) {
  std::string out;
  for (const auto& [role, text] : kNames) {
    if (is_of_systems(role) == of_systems) {
      out.append(out.empty() ? "" : ", ").append(text);
    }
  }
  return out;
}

std::vector<Role> Roles::list() const {
  std::vector<Role> out;
  for (const auto& [role, text] : kNames) {
    if (has(role)) {
      out.push_back(role);
    }
  }
  return out;
}

std::string Roles::text() const {
  std::string out;
  for (const Role role : list()) {
    out.append(out.empty() ? "" : ",").append(name_of(role));
  }
  return out;
}

std::optional<Roles> parse_roles(std::string_view text) {
  Roles roles;
  while (true) {
    const std::size_t comma = text.find(',');
    const auto role = role_of(text.substr(0, comma));
    if (!role) {
      return std::nullopt;
    }
    roles.add(*role);
    if (comma == std::string_view::npos) {
      return roles;
    }
    text.remove_prefix(comma + 1);
  }
}

bool reads_patients(Right right) {
  return right == Right::kReadWard || right == Right::kReadRecord || right == Right::kReadMessage ||
         right == Right::kReadLog;
}

std::string_view name_of(Right right) {
  const auto row = std::find_if(rows().begin(), rows().end(),
                                [right](const Row& one) { return one.right == right; });
  return row == rows().end() ? std::string_view() : row->name;
}

std::vector<Right> rights_of(const Roles& roles) {
  std::vector<Right> out;
  for (const Row& row : rows()) {
    if (may(roles, row.right)) {
      out.push_back(row.right);
    }
  }
  return out;
}

std::string roles_with(Right right) {
  std::string out;
  for (const auto& [role, text] : kNames) {
    Roles one;
    one.add(role);
    if (may(one, right)) {
      out.append(out.empty() ? "" : ", ").append(text);
    }
  }
  return out;
}

bool may(const Roles& roles, Right right) {
  if (right == Right::kOpen || right == Right::kSelf) {
    return true;
  }
  return std::any_of(rows().begin(), rows().end(), [&](const Row& row) {
    return row.right == right && std::any_of(row.roles.begin(), row.roles.end(),
                                             [&](Role role) { return roles.has(role); });
  });
}

}  // namespace engine::people

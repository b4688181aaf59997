#include "engine/people/sign_ins.h"

#include <algorithm>
#include <iterator>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/people/secrets.h"

namespace engine::people {

bool SignIns::over(const One& one, Time now) {
  return now >= one.begun + base::limits::kSignInLifetime ||
         now >= one.used + base::limits::kSignInIdle;
}

SignIns::ByHash::iterator SignIns::erase(ByHash::iterator at) {
  const auto of_name = hashes_of_.find(at->second.person.name);
  of_name->second.erase(at->first);
  if (of_name->second.empty()) {
    hashes_of_.erase(of_name);
  }
  return by_hash_.erase(at);
}

void SignIns::make_room(const std::string& name, Time now) {
  if (by_hash_.size() >= base::limits::kSignInsMax) {
    for (auto at = by_hash_.begin(); at != by_hash_.end();) {
      at = over(at->second, now) ? erase(at) : std::next(at);
    }
  }
  const auto used_before = [](const auto& a, const auto& b) {
    return a->second.used < b->second.used;
  };
  std::vector<ByHash::iterator> candidates;
  const auto own = hashes_of_.find(name);
  if (own != hashes_of_.end() && own->second.size() >= base::limits::kSignInsOfOneMax) {
    for (const std::string& hash : own->second) {
      candidates.push_back(by_hash_.find(hash));
    }
  } else if (by_hash_.size() >= base::limits::kSignInsMax) {
    for (auto at = by_hash_.begin(); at != by_hash_.end(); ++at) {
      candidates.push_back(at);
    }
  }
  if (!candidates.empty()) {
    erase(*std::min_element(candidates.begin(), candidates.end(), used_before));
  }
}

void SignIns::add(std::string_view secret, Person person, Time now) {
  make_room(person.name, now);
  std::string hash = keep_secret(secret);
  hashes_of_[person.name].insert(hash);
  by_hash_.insert_or_assign(std::move(hash), One{std::move(person), now, now});
}

std::optional<SignIns::Person> SignIns::find(std::string_view secret, Time now, bool used) {
  const auto at = by_hash_.find(keep_secret(secret));
  if (at == by_hash_.end()) {
    return std::nullopt;
  }
  if (over(at->second, now)) {
    erase(at);
    return std::nullopt;
  }
  if (used) {
    at->second.used = now;
  }
  return at->second.person;
}

void SignIns::end(std::string_view secret) {
  const auto at = by_hash_.find(keep_secret(secret));
  if (at != by_hash_.end()) {
    erase(at);
  }
}

}  // namespace engine::people

#pragma once
// Who is signed in just now, in memory: a restart of the engine signs everybody out. Holds hashes
// of the secrets that browsers keep, never the secrets. Not thread safe.

#include <chrono>
#include <cstddef>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>

namespace engine::people {

class SignIns {
 public:
  using Time = std::chrono::steady_clock::time_point;
  struct Person {
    std::string name;
    std::string kept_password;  // as it was then: with another one in the file, this has ended
  };

  // With the bounds reached, this person's own least used one ends, or anybody's.
  void add(std::string_view secret, Person person, Time now);
  // Nothing when it ended, by its length or by lying idle, or never began. `used`: this counts as a
  // use.
  std::optional<Person> find(std::string_view secret, Time now, bool used = true);
  void end(std::string_view secret);
  std::size_t size() const { return by_hash_.size(); }

 private:
  struct One {
    Person person;
    Time begun;
    Time used;
  };
  using ByHash = std::map<std::string, One>;
  static bool over(const One& one, Time now);
  ByHash::iterator erase(ByHash::iterator at);
  void make_room(const std::string& name, Time now);

  ByHash by_hash_;
  std::map<std::string, std::set<std::string>> hashes_of_;  // by name
};

}  // namespace engine::people

#pragma once
// Who calls: persons by signing in with a password, systems by a token. Passwords are compared one
// at a time on a thread of the gate's own, in a bounded queue; when it is full, the network with
// the most passwords in it makes room for others. Thread safe. What a caller may do is the matter
// of roles.h.

#include <chrono>
#include <condition_variable>
#include <deque>
#include <functional>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <thread>

#include "engine/base/seams.h"
#include "engine/people/people.h"
#include "engine/people/sign_ins.h"
#include "engine/people/tries.h"

namespace engine::people {

class Gate {
 public:
  Gate(People people, const base::Clock& clock, base::Random& random);
  ~Gate();  // those who wait are told kBusy
  Gate(const Gate&) = delete;
  Gate& operator=(const Gate&) = delete;

  // The file has changed: who is not in it any more, or has another password there, is signed out.
  void renew(People people);

  // Nothing when the secret of a sign-in or the token is nobody's. A look keeps no sign-in from
  // lying idle.
  enum class Use { kCounts, kLook };
  std::optional<Entry> signed_in(std::string_view secret, Use use = Use::kCounts);
  std::optional<Entry> system(std::string_view token);

  struct Attempt {
    std::string name;
    std::string password;
    std::string address;  // of the other side
  };
  struct Outcome {
    enum class Verdict {
      kIn,
      kWrong,    // the name or the password; which of them is not told
      kTooMany,  // wrong ones: `wait` has to pass
      kBusy,     // too many passwords wait to be compared (another may take a place in the queue),
                 // or the engine ends
    };
    Verdict verdict = Verdict::kBusy;
    std::string secret;  // of kIn: what the browser keeps
    // Of kIn; and of kWrong whose password was tried, without a name when it was nobody's: for the
    // record, and not for the one who tries.
    Entry person;
    std::chrono::seconds wait{0};
  };
  using Told = std::function<void(Outcome outcome)>;
  // Calls `told` once: at once when there is nothing to compare, else on the gate's thread, or on
  // that of whom it makes room for.
  void sign_in(Attempt attempt, Told told);
  void sign_out(std::string_view secret);

 private:
  struct Waiting {
    Attempt attempt;
    Told told;
  };
  std::deque<Waiting>::iterator who_makes_room(const std::string& address);
  void work();
  Outcome compare(Attempt attempt);

  const base::Clock& clock_;
  base::Random& random_;
  std::mutex mutex_;  // of what follows
  std::condition_variable changed_;
  People people_;
  SignIns sign_ins_;
  Tries tries_;
  std::deque<Waiting> waiting_;
  bool ending_ = false;
  std::thread thread_;
};

}  // namespace engine::people

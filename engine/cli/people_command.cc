// chartferry people: who may sign in at the engine, and which systems may send to it.

#include <cstdio>
#include <iostream>
#include <string>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>
#include <termios.h>
#include <unistd.h>

#include "engine/base/limits.h"
#include "engine/cli/commands.h"
#include "engine/cli/people_file.h"
#include "engine/cli/system_seams.h"
#include "engine/json/write.h"
#include "engine/people/secrets.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using people::Entry;
using people::People;

struct Arguments {
  std::string file;
  std::string name;
  std::string display;
  std::vector<std::string> roles;
  bool no_password = false;
  bool as_json = false;
};

// A terminal that does not show what is typed, for as long as this lives.
class Unseen {
 public:
  Unseen() {
    there_ = ::tcgetattr(STDIN_FILENO, &before_) == 0;
    if (there_) {
      termios now = before_;
      now.c_lflag &= ~static_cast<tcflag_t>(ECHO);
      ::tcsetattr(STDIN_FILENO, TCSAFLUSH, &now);
    }
  }
  ~Unseen() {
    if (there_) {
      ::tcsetattr(STDIN_FILENO, TCSAFLUSH, &before_);
      std::fputc('\n', stderr);
    }
  }
  Unseen(const Unseen&) = delete;
  Unseen& operator=(const Unseen&) = delete;

 private:
  termios before_{};
  bool there_ = false;
};

std::string ask(const char* prompt) {
  std::fputs(prompt, stderr);
  const Unseen unseen;
  std::string line;
  std::getline(std::cin, line);
  return line;
}

// Never an argument: those are seen by everybody on the machine. At a terminal it is asked twice,
// else it is the first line of the standard input.
base::Result<std::string> ask_password(const Entry& entry) {
  const bool terminal = ::isatty(STDIN_FILENO) == 1;
  std::string password = terminal ? ask("password: ") : ask("");
  std::string again = terminal ? ask("the same again: ") : password;
  const bool same = password == again;
  people::wipe(again);
  const bool told = password == entry.name || password == entry.display;
  auto kept =
      same && !told
          ? people::keep_password(password)
          : base::Result<std::string>(
                Error(ErrorCode::kInvalid, same ? "a name is no password"
                                                : "the two are not the same; nothing is changed"));
  people::wipe(password);
  return kept;
}

base::Result<people::Roles> roles_of(const Arguments& arguments, bool of_systems) {
  people::Roles roles;
  for (const std::string& name : arguments.roles) {
    const auto role = people::role_of(name);
    if (!role || people::is_of_systems(*role) != of_systems) {
      return Error(ErrorCode::kInvalid,
                   std::string(of_systems ? "a system's" : "a person's") +
                       " roles are of: " + people::role_names(of_systems),
                   name);
    }
    roles.add(*role);
  }
  return roles;
}

base::Result<void> add_person(const Arguments& arguments) {
  Entry entry;
  entry.name = arguments.name;
  entry.display = arguments.display;
  const auto roles = roles_of(arguments, false);
  if (!roles) {
    return roles.error();
  }
  entry.roles = *roles;
  // What cannot be is said before a password is asked for.
  if (auto good = People().add(entry); !good) {
    return good;
  }
  if (!arguments.no_password) {
    auto kept = ask_password(entry);
    if (!kept) {
      return kept.error();
    }
    entry.secret = std::move(*kept);
  }
  return change_people(arguments.file, WhenMissing::kMake,
                       [&](People& people) { return people.add(std::move(entry)); });
}

base::Result<void> set_password(const Arguments& arguments) {
  auto people = PeopleFile(arguments.file).load();
  if (!people) {
    return std::move(people).error();
  }
  const Entry* entry = people->find(arguments.name);
  if (entry == nullptr || entry->system) {
    return Error(ErrorCode::kNotFound, "there is no person of this name", arguments.name);
  }
  auto kept = ask_password(*entry);
  if (!kept) {
    return kept.error();
  }
  return change_people(arguments.file, WhenMissing::kRefuse, [&](People& changed) {
    return changed.set_secret(arguments.name, std::move(*kept));
  });
}

// A new system, or a new token of a known one; the old one ends.
base::Result<void> make_token(const Arguments& arguments) {
  SystemRandom random;
  std::string token = people::make_secret(random);
  auto done =
      change_people(arguments.file, WhenMissing::kMake, [&](People& people) -> base::Result<void> {
        const Entry* known = people.find(arguments.name);
        if (known != nullptr && known->system && arguments.roles.empty() &&
            arguments.display.empty()) {
          return people.set_secret(arguments.name, people::keep_secret(token));
        }
        const auto roles = roles_of(arguments, true);
        if (!roles) {
          return roles.error();
        }
        Entry entry;
        entry.system = true;
        entry.name = arguments.name;
        entry.display = arguments.display;
        entry.roles = *roles;
        entry.secret = people::keep_secret(token);
        return people.add(std::move(entry));
      });
  if (done) {
    std::printf("%s\n", token.c_str());
    std::fputs("This token is shown once and kept nowhere: give it to the system now.\n", stderr);
  }
  people::wipe(token);
  return done;
}

base::Result<void> remove_entry(const Arguments& arguments) {
  return change_people(arguments.file, WhenMissing::kRefuse,
                       [&](People& people) { return people.remove(arguments.name); });
}

std::string literal(std::string_view text) {
  std::string out;
  json::write_string(text, out);
  return out;
}

base::Result<void> list(const Arguments& arguments) {
  const auto people = PeopleFile(arguments.file).load();
  if (!people) {
    return people.error();
  }
  for (const Entry& entry : people->entries()) {
    const char* kind = entry.system ? "system" : "person";
    const bool may_sign_in = !entry.system && !entry.secret.empty();
    if (arguments.as_json) {
      std::printf("{\"kind\":\"%s\",\"name\":%s,\"display\":%s,\"roles\":%s,\"password\":%s}\n",
                  kind, literal(entry.name).c_str(), literal(entry.display).c_str(),
                  literal(entry.roles.text()).c_str(), may_sign_in ? "true" : "false");
    } else {
      const char* secret = entry.system ? "token" : may_sign_in ? "password" : "no password";
      std::printf("%-7s %-24s %-28s %-12s %s\n", kind, entry.name.c_str(),
                  entry.roles.text().c_str(), secret, entry.display.c_str());
    }
  }
  return {};
}

void add_entry_options(CLI::App& command, Arguments& arguments, bool needed) {
  command.add_option("name", arguments.name, "small letters, digits, '-' and '.'")->required();
  auto* role =
      command.add_option("--role", arguments.roles, "one of the roles; several may be given");
  auto* display = command.add_option("--display", arguments.display, "the name as people know it");
  if (needed) {
    role->required();
    display->required();
  }
}

}  // namespace

int run_people(int argc, char** argv) {
  CLI::App app("Who may sign in at the engine, and which systems may send to it.",
               "chartferry people");
  Arguments arguments;
  app.add_option("--people", arguments.file, "the people file")->required();
  app.require_subcommand(1);
  auto* add = app.add_subcommand(
      "add", "a person: " + people::role_names(false) + "; the password is asked for");
  add_entry_options(*add, arguments, true);
  add->add_flag("--no-password", arguments.no_password,
                "the person cannot sign in until one is set");
  auto* token = app.add_subcommand(
      "token", "a system: " + people::role_names(true) + "; or another token of a known one");
  add_entry_options(*token, arguments, false);
  auto* password = app.add_subcommand("password", "another password; signs the person out");
  password->add_option("name", arguments.name, "of the person")->required();
  auto* remove = app.add_subcommand("remove", "a person or system; at once");
  remove->add_option("name", arguments.name, "of the person or system")->required();
  auto* listing = app.add_subcommand("list", "who is in the file");
  listing->add_flag("--json", arguments.as_json, "JSON lines, for programs");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& problem) {
    return app.exit(problem) == 0 ? kOk : kUsage;
  }
  const std::pair<CLI::App*, base::Result<void> (*)(const Arguments&)> actions[] = {
      {add, add_person},
      {token, make_token},
      {password, set_password},
      {remove, remove_entry},
      {listing, list}};
  for (const auto& [command, act] : actions) {
    if (command->parsed()) {
      if (const auto done = act(arguments); !done) {
        std::fprintf(stderr, "chartferry people: %s\n", done.error().text().c_str());
        return kUsage;
      }
    }
  }
  return kOk;
}

}  // namespace engine::cli

#include "engine/cli/journal_options.h"

#include <string_view>
#include <utility>

#include <CLI/CLI.hpp>

#include "engine/cli/given_words.h"

namespace engine::cli {
namespace {

// Takes no sign: a number below nought would become a large one.
CLI::Validator counting(bool from_nought = false) {
  return CLI::Validator(
      [from_nought](const std::string& text) {
        const bool good = text.find_first_not_of("0123456789") == std::string::npos &&
                          (from_nought || text.find_first_not_of('0') != std::string::npos);
        return good ? std::string()
                    : "'" + text + "' is no whole number" + (from_nought ? "" : " above 0");
      },
      "NUMBER");
}

// So that a name that was mistyped does not look as if nothing were there.
CLI::Validator session_id() {
  return CLI::Validator(
      [](const std::string& text) {
        bool good = text.size() == 36;
        for (std::size_t i = 0; good && i < text.size(); ++i) {
          const bool dash = i == 8 || i == 13 || i == 18 || i == 23;
          good = dash
                     ? text[i] == '-'
                     : std::string_view("0123456789abcdef").find(text[i]) != std::string_view::npos;
        }
        return good ? std::string() : "'" + text + "' is no session id";
      },
      "SESSION");
}

void add_person_options(CLI::App& command, JournalArguments& arguments, bool why_needed) {
  command.add_option("--who", arguments.who, "who does this (default: the account's name)");
  auto* why = command.add_option("--why", arguments.why, "the reason; it is kept");
  if (why_needed) {
    why->required();
  }
}

void add_search_options(CLI::App& command, JournalArguments& arguments) {
  command.add_option("--session", arguments.session, "session id")->check(session_id());
  command.add_option("--patient", arguments.patient, "SYSTEM|VALUE");
  command.add_option("--therapist", arguments.therapist, "SYSTEM|VALUE");
  command.add_option("--target", arguments.target, "name of a target");
  command.add_option("--kind", arguments.kind, "accepted, checked, held, landed, refused ...");
  command.add_option("--since", arguments.since, "instant, 2026-03-02T08:00:00Z");
  command.add_option("--until", arguments.until, "instant, exclusive");
  command.add_option("--key", arguments.key_file, "key of the search (default: JOURNAL.key)");
  add_person_options(command, arguments, false);
}

void add_head_options(CLI::App& command, JournalArguments& arguments) {
  command.add_option("--heads", arguments.heads,
                     "files of signed tree heads (default: JOURNAL.heads)");
  command.add_option("--head-key", arguments.public_key,
                     "public key of the heads, PEM (default: JOURNAL.head-key.pub)");
}

}  // namespace

base::Result<void> check_arguments(JournalArguments& arguments) {
  arguments.label = arguments.who;
  auto actor = actor_of(arguments.who);
  if (!actor) {
    return std::move(actor).error();
  }
  arguments.who = std::move(*actor);
  if (auto good = check_identifier(arguments.patient, "patient"); !good) {
    return good;
  }
  if (auto good = check_identifier(arguments.therapist, "therapist"); !good) {
    return good;
  }
  return put_in_utc(arguments.since, arguments.until);
}

CLI::App* add_list(CLI::App& app, JournalArguments& arguments) {
  CLI::App* command = app.add_subcommand("list", "records, oldest first");
  add_search_options(*command, arguments);
  auto* state = command->add_option(
      "--state", arguments.state,
      "instead: revisions that are held, checked ...; --since and --until are of their acceptance");
  state->excludes(command->get_option("--kind"));
  command->add_option("--after", arguments.after, "go on behind this record")
      ->excludes(state)
      ->check(counting(true));
  command->add_option("--limit", arguments.limit, "at most so many (default: all)")
      ->check(counting());
  command->add_flag("--json", arguments.as_json, "JSON lines, for programs");
  return command;
}

CLI::App* add_verify(CLI::App& app, JournalArguments& arguments) {
  CLI::App* command = app.add_subcommand("verify", "is anything altered or missing?");
  add_head_options(*command, arguments);
  return command;
}

CLI::App* add_prove(CLI::App& app, JournalArguments& arguments) {
  CLI::App* command = app.add_subcommand(
      "prove", "proof that a record lies in the signed tree, or that the tree only grew");
  auto* position = command->add_option("position", arguments.position, "the record's place");
  auto* from = command->add_option("--from", arguments.from, "records of an earlier signed head");
  command->add_option("--to", arguments.to, "of a later one (default: the latest)")->needs(from);
  position->excludes(from);
  add_head_options(*command, arguments);
  add_person_options(*command, arguments, false);
  return command;
}

CLI::App* add_export(CLI::App& app, JournalArguments& arguments) {
  CLI::App* command =
      app.add_subcommand("export", "records and proofs in a folder that anybody can verify");
  command->add_option("folder", arguments.folder, "a new or empty one")->required();
  add_search_options(*command, arguments);
  add_head_options(*command, arguments);
  return command;
}

CLI::App* add_reconcile(CLI::App& app, JournalArguments& arguments) {
  CLI::App* command =
      app.add_subcommand("reconcile", "is what landed still there and unchanged? reads only");
  command->add_option("--target", arguments.target, "its name in the journal (default: main)");
  command->add_option("--url", arguments.server.url, "the record server's base URL")->required();
  command->add_option("--ca", arguments.server.ca_file, "certificates to check its own with, PEM");
  command->add_option("--authorization-file", arguments.server.authorization_file,
                      "holds the value of the Authorization header");
  command->add_option("--since", arguments.since, "landed from this instant on");
  command->add_option("--until", arguments.until, "exclusive");
  command->add_flag("--json", arguments.as_json, "for programs");
  return command;
}

CLI::App* add_show(CLI::App& app, JournalArguments& arguments) {
  CLI::App* command = app.add_subcommand("show", "one record with what it holds");
  command->add_option("position", arguments.position, "its place in the journal")
      ->required()
      ->check(counting());
  command->add_option("--part", arguments.part, "only the bytes of document, bundle, outcome ...");
  add_person_options(*command, arguments, false);
  return command;
}

CLI::App* add_targets(CLI::App& app, JournalArguments& arguments) {
  CLI::App* command = app.add_subcommand("targets", "which are paused, and what waits for them");
  command->add_flag("--json", arguments.as_json, "JSON lines, for programs");
  return command;
}

CLI::App* add_pause(CLI::App& app, JournalArguments& arguments, const char* name,
                    const char* purpose) {
  CLI::App* command = app.add_subcommand(name, purpose);
  command->add_option("target", arguments.target, "its name in the configuration")->required();
  add_person_options(*command, arguments, true);
  return command;
}

CLI::App* add_copy(CLI::App& app, JournalArguments& arguments) {
  CLI::App* command = app.add_subcommand(
      "copy", "the whole journal into a file or a database; goes on where it stopped");
  command->add_option("from", arguments.from_journal, "FILE or postgresql://...")->required();
  command->add_option("to", arguments.to_journal, "likewise; a new one, or an earlier copy")
      ->required();
  return command;
}

CLI::App* add_steer(CLI::App& app, JournalArguments& arguments, const char* name,
                    const char* purpose) {
  CLI::App* command = app.add_subcommand(name, purpose);
  command->add_option("session", arguments.session, "session id")->required();
  command->add_option("--revision", arguments.revision, "when several are held");
  command->add_option("--target", arguments.target, "likewise");
  add_person_options(*command, arguments, true);
  return command;
}

}  // namespace engine::cli

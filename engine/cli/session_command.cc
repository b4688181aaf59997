// chartferry session: what a session document becomes, without a server. The pure function of
// therapy/translate.h for people and, with --batch, for programs.

#include <algorithm>
#include <cstdio>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>

#include "engine/cli/batch.h"
#include "engine/cli/commands.h"
#include "engine/cli/embedded.h"
#include "engine/cli/files.h"
#include "engine/cli/read_file.h"
#include "engine/cli/shown_text.h"
#include "engine/cli/stamp.h"
#include "engine/cli/translator_files.h"
#include "engine/json/write.h"
#include "engine/mapping/mapping.h"
#include "engine/therapy/translate.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using therapy::Translator;
using therapy::Verdict;

struct Arguments {
  std::vector<std::string> files;
  TranslatorFiles translator;
  std::string accepted_at;
  std::string show = "bundle";
  bool batch = false;
};

std::string_view name_of(Verdict verdict) {
  switch (verdict) {
    case Verdict::kRefused:
      return "refused";
    case Verdict::kHeld:
      return "held";
    case Verdict::kReady:
      return "ready";
  }
  return "";
}

// As a running engine would: taken in first.
therapy::Translation translate(const Translator& translator,
                               std::span<const therapy::Revision> revisions,
                               const therapy::Wanted& wanted = {}) {
  Translator::Admission admission = translator.admit(revisions.back().body);
  if (admission.admitted) {
    return translator.translate(revisions, wanted);
  }
  therapy::Translation refused;
  refused.issues = std::move(admission.issues);
  return refused;
}

int run_session_batch(const Translator& translator) {
  const json::NameTable names;
  return run_batch(
      names, [&translator](const json::Node& request, std::string& out) -> Result<void> {
        const json::Node* session = request.find("session");
        if (session == nullptr) {
          return Error(ErrorCode::kInvalid, "a session document is expected", "session");
        }
        therapy::Revision revision;
        revision.body = json::to_text(*session);
        revision.accepted_at = request.string_at("acceptedAt");
        if (revision.accepted_at.empty()) {
          revision.accepted_at = default_stamp(*session);
        }
        const therapy::Translation done = translate(translator, {&revision, 1}, {.lineage = false});
        out += R"(,"findings":)";
        out += done.findings.empty() ? "[]" : done.findings;
        if (!done.bundle.empty()) {
          out += R"(,"bundle":)";
          out += done.bundle;
        }
        out += R"(,"outcome":)" + fhir::to_operation_outcome(done.issues);
        append_member("verdict", name_of(done.verdict), out);
        if (!done.hold_reason.empty()) {
          append_member("holdReason", done.hold_reason, out);
        }
        return {};
      });
}

void print_pretty(const std::string& text) {
  const json::NameTable names;
  json::Document document(names);
  if (text.empty() || !document.parse(text)) {
    std::printf("%s\n", for_stdout(text).c_str());
    return;
  }
  std::printf("%s\n", for_stdout(json::to_pretty_text(*document.root())).c_str());
}

int show(const Arguments& arguments, const Translator& translator) {
  std::vector<therapy::Revision> revisions;
  for (const std::string& file : arguments.files) {
    Result<std::string> bytes = read_file(file);
    if (!bytes) {
      std::fprintf(stderr, "chartferry session: %s\n", bytes.error().text().c_str());
      return kUsage;
    }
    therapy::Revision revision{std::move(*bytes), arguments.accepted_at};
    if (revision.accepted_at.empty()) {
      const json::NameTable names;
      json::Document document(names);
      revision.accepted_at =
          document.parse(revision.body) ? default_stamp(*document.root()) : std::string();
    }
    revisions.push_back(std::move(revision));
  }
  const therapy::Translation done = translate(translator, revisions);
  if (arguments.show == "findings") {
    print_pretty(done.findings);
  } else if (arguments.show == "lineage") {
    const base::Result<std::string> told = mapping::tell_lineage(done.lineage);
    print_pretty(told ? *told : std::string("[]"));
  } else if (arguments.show == "outcome") {
    print_pretty(fhir::to_operation_outcome(done.issues));
  } else {
    print_pretty(done.bundle);
  }
  for (const fhir::Issue& issue : done.issues) {
    const std::string_view severity = fhir::name_of(issue.severity);
    std::fprintf(stderr, "%.*s: %s%s%s%s\n", static_cast<int>(severity.size()), severity.data(),
                 shown_text(issue.expression).c_str(), issue.expression.empty() ? "" : ": ",
                 shown_text(issue.text).c_str(),
                 issue.rule.empty() ? "" : (" [" + issue.rule + "]").c_str());
  }
  const std::string_view verdict = name_of(done.verdict);
  std::fprintf(stderr, "%.*s%s%s\n", static_cast<int>(verdict.size()), verdict.data(),
               done.hold_reason.empty() ? "" : ": ", done.hold_reason.c_str());
  return done.verdict == Verdict::kReady ? kOk : kNo;
}

}  // namespace

int run_session(int argc, char** argv) {
  Arguments arguments;
  CLI::App app("What a session document becomes: findings, resources, and what is wrong with it.");
  app.name("chartferry session");
  app.add_option("FILE", arguments.files, "the revisions of one session, oldest first");
  app.add_flag("--batch", arguments.batch,
               "JSON lines {\"id\",\"session\",\"acceptedAt\"?} in, answers out");
  app.add_option("--show", arguments.show, "what to print")
      ->check(CLI::IsMember(
          {"bundle", "findings", "outcome", "lineage", "schema", "model", "plausibility"}));
  app.add_option("--site", arguments.translator.site,
                 "directory of the site's mappings/, profiles/ and settings.json");
  app.add_option("--mappings", arguments.translator.mappings,
                 "a folder that wins over our maps, by file");
  app.add_option("--profiles", arguments.translator.profiles,
                 "a folder that wins over our profiles, by file");
  app.add_option("--settings", arguments.translator.settings, "JSON file with the site's settings");
  app.add_option("--overlay", arguments.translator.overlay,
                 "a country's maps and profiles over ours: us-core, us-core/9.0.0, us-core/3.1.0");
  app.add_option("--accepted-at", arguments.accepted_at, "FHIR instant of the intake");
  CLI11_PARSE(app, argc, argv);
  Result<std::unique_ptr<Translator>> loaded = load_translator(arguments.translator);
  if (!loaded) {
    std::fprintf(stderr, "chartferry session: %s\n", loaded.error().text().c_str());
    return kUsage;
  }
  const Translator& translator = **loaded;
  if (arguments.batch) {
    return run_session_batch(translator);
  }
  if (arguments.show == "schema" || arguments.show == "model" || arguments.show == "plausibility") {
    const std::string& text = arguments.show == "schema"  ? translator.json_schema()
                              : arguments.show == "model" ? translator.logical_model()
                                                          : translator.plausibility_table();
    std::printf("%s\n", text.c_str());
    return kOk;
  }
  if (arguments.files.empty()) {
    std::fprintf(stderr, "chartferry session: name the file of a session document, or --batch\n");
    return kUsage;
  }
  return show(arguments, translator);
}

}  // namespace engine::cli

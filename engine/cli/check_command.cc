// chartferry check: do resources conform? For people (a table), programs (OperationOutcomes, JUnit)
// and, with --batch, line by line.

#include <chrono>
#include <cstdio>
#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include <CLI/CLI.hpp>
#include <unistd.h>

#include "engine/base/limits.h"
#include "engine/cli/check_batch.h"
#include "engine/cli/check_catalog.h"
#include "engine/cli/check_explain.h"
#include "engine/cli/check_output.h"
#include "engine/cli/commands.h"
#include "engine/cli/read_file.h"

namespace engine::cli {
namespace {

struct Arguments {
  std::vector<std::string> files;
  std::vector<std::string> profiles;
  std::vector<std::string> packages;
  std::string format = "text";
  bool batch = false;
  bool quiet = false;
  bool ndjson = false;
  std::string explain;  // FHIRPath; empty: check
};

bool is_ndjson_name(const std::string& path) {
  return path.ends_with(".ndjson") || path.ends_with(".jsonl");
}

// Says on standard error how far a long run has come, when somebody is watching.
class Progress {
 public:
  void step(std::size_t done) {
    using namespace std::chrono;
    const auto now = steady_clock::now();
    if (!watched_ || now - last_ < milliseconds(200)) {
      return;
    }
    last_ = now;
    shown_ = true;
    std::fprintf(stderr, "\r%zu checked", done);
  }
  ~Progress() {
    if (shown_) {
      std::fprintf(stderr, "\r\033[K");
    }
  }

 private:
  bool watched_ = ::isatty(STDERR_FILENO) != 0;
  bool shown_ = false;
  std::chrono::steady_clock::time_point last_ = std::chrono::steady_clock::now();
};

class FileChecker {
 public:
  FileChecker(const Arguments& arguments, CheckShapes shapes, CheckOutput& output)
      : arguments_(arguments),
        shapes_(std::move(shapes)),
        document_(shapes_.catalog->names()),
        output_(output),
        now_(base::to_instant(std::chrono::system_clock::now())) {
    for (const std::string& profile : arguments.profiles) {
      profiles_.push_back(profile);
    }
  }

  // False when the file cannot be read at all.
  bool file(const std::string& path) {
    base::Result<std::string> text = read_file(path, base::limits::kCheckedBytesMax);
    if (!text) {
      std::fprintf(stderr, "chartferry check: %s\n", text.error().text().c_str());
      return false;
    }
    if (arguments_.ndjson || is_ndjson_name(path) || is_lines(*text)) {
      lines(path, *text);
    } else {
      one(path, 0, *text);
    }
    return true;
  }

  bool unreadable() const { return unreadable_; }

 private:
  // Several resources, one a line: the first line alone is a whole value and more follows.
  bool is_lines(std::string_view text) {
    const std::size_t end = text.find('\n');
    if (end == std::string_view::npos ||
        text.substr(end).find_first_not_of(" \t\r\n") == std::string_view::npos) {
      return false;
    }
    return text.front() == '{' && document_.parse(text.substr(0, end)).has_value();
  }

  void lines(const std::string& path, std::string_view text) {
    std::size_t number = 0;
    while (!text.empty()) {
      ++number;
      const std::size_t end = text.find('\n');
      const std::string_view line = text.substr(0, end);
      text = end == std::string_view::npos ? std::string_view() : text.substr(end + 1);
      if (line.find_first_not_of(" \t\r") != std::string_view::npos) {
        one(path, number, line);
      }
    }
  }

  void one(const std::string& path, std::size_t line, std::string_view text) {
    CheckedResource checked{path, line, {}, {}};
    const base::Result<void> read = document_.parse(text);
    if (!read) {
      fhir::Issue issue;
      issue.severity = fhir::Severity::kFatal;
      issue.code = "structure";
      issue.text = "this is no readable JSON: " + read.error().text();
      checked.issues.push_back(std::move(issue));
      unreadable_ = true;
    } else {
      const json::Node& root = *document_.root();
      checked.title = std::string(root.string_at("resourceType"));
      const std::string_view id = root.string_at("id");
      if (!id.empty()) {
        checked.title += "/" + std::string(id);
      }
      check::Options options;
      options.profiles = profiles_;
      options.text = text;
      options.now = now_;
      options.notes = !arguments_.quiet;
      checked.issues = shapes_.checker->check(root, options, scratch_);
    }
    output_.write(checked);
    progress_.step(output_.tally().resources);
  }

  const Arguments& arguments_;
  CheckShapes shapes_;
  json::Document document_;
  CheckOutput& output_;
  std::string now_;
  std::vector<std::string_view> profiles_;
  check::Scratch scratch_;
  Progress progress_;
  bool unreadable_ = false;
};

// A folder stands for the .json and .ndjson files in it.
std::vector<std::string> expand(const std::vector<std::string>& paths) {
  namespace fs = std::filesystem;
  std::vector<std::string> out;
  for (const std::string& path : paths) {
    std::error_code problem;
    if (path == "-" || !fs::is_directory(path, problem)) {
      out.push_back(path);
      continue;
    }
    std::vector<std::string> inside;
    for (const fs::directory_entry& each : fs::recursive_directory_iterator(path, problem)) {
      const std::string name = each.path().string();
      if (each.is_regular_file(problem) && (name.ends_with(".json") || is_ndjson_name(name))) {
        inside.push_back(name);
      }
    }
    std::sort(inside.begin(), inside.end());
    out.insert(out.end(), inside.begin(), inside.end());
  }
  return out;
}

int fail(const base::Error& error) {
  std::fprintf(stderr, "chartferry check: %s\n", error.text().c_str());
  return kUsage;
}

// Which definition says what of the values that an expression picks in one resource.
int explain(const Arguments& arguments, const CheckShapes& shapes) {
  if (arguments.files.size() != 1 || arguments.format == "junit") {
    std::fprintf(stderr, "chartferry check: --explain takes one file, as text or json\n");
    return kUsage;
  }
  const base::Result<std::string> text =
      read_file(arguments.files.front(), base::limits::kCheckedBytesMax);
  if (!text) {
    return fail(text.error());
  }
  json::Document document(shapes.catalog->names());
  if (const base::Result<void> read = document.parse(*text); !read) {
    return fail(read.error());
  }
  const std::vector<std::string_view> profiles(arguments.profiles.begin(),
                                               arguments.profiles.end());
  const base::Result<std::string> told = explain_values(
      *shapes.checker, document, *text, {arguments.explain, profiles, arguments.format == "json"});
  if (!told) {
    std::fprintf(stderr, "chartferry check: %s\n", told.error().text().c_str());
    return told.error().code == base::ErrorCode::kNotFound ? kNo : kUsage;
  }
  std::fputs(told->c_str(), stdout);
  return kOk;
}

int run(const Arguments& arguments) {
  CheckPackages packages;
  for (const std::string& path : arguments.packages) {
    if (const base::Result<void> added = packages.add(path); !added) {
      return fail(added.error());
    }
  }
  if (arguments.batch) {
    std::vector<std::string_view> profiles(arguments.profiles.begin(), arguments.profiles.end());
    CheckBatchOptions options;
    options.profiles = profiles;
    options.now = base::to_instant(std::chrono::system_clock::now());
    options.notes = !arguments.quiet;
    return run_check_batch(packages, options);
  }
  base::Result<CheckShapes> shapes = packages.load();
  if (!shapes) {
    return fail(shapes.error());
  }
  for (const fhir::Issue& issue : shapes->issues) {
    if (!arguments.quiet || issue.severity <= fhir::Severity::kError) {
      std::fprintf(stderr, "%.*s: %s\n", static_cast<int>(fhir::name_of(issue.severity).size()),
                   fhir::name_of(issue.severity).data(), issue.text.c_str());
    }
  }
  // Said once and at the start, not of every resource.
  for (const std::string& profile : arguments.profiles) {
    if (shapes->catalog->find_shape(profile) == nullptr) {
      return fail(base::Error(base::ErrorCode::kNotFound,
                              "this profile is not loaded; add its package with --package",
                              profile));
    }
  }
  if (!arguments.explain.empty()) {
    return explain(arguments, *shapes);
  }
  const CheckFormat format = arguments.format == "json"    ? CheckFormat::kJson
                             : arguments.format == "junit" ? CheckFormat::kJunit
                                                           : CheckFormat::kText;
  CheckOutput output(format, ::isatty(STDOUT_FILENO) != 0, stdout);
  FileChecker checker(arguments, std::move(*shapes), output);
  bool readable = true;
  for (const std::string& path : expand(arguments.files)) {
    readable = checker.file(path) && readable;
  }
  output.finish();
  if (!readable || checker.unreadable()) {
    return kUsage;
  }
  return output.tally().with_errors > 0 ? kNo : kOk;
}

}  // namespace

int run_check(int argc, char** argv) {
  Arguments arguments;
  CLI::App app("Checks resources against FHIR R4 and the profiles they claim.", "chartferry check");
  app.add_option("files", arguments.files,
                 "JSON or NDJSON files or folders; - or none for standard input");
  app.add_option("--profile", arguments.profiles, "a profile's canonical to meet as well")
      ->allow_extra_args(false);
  app.add_option("--package", arguments.packages,
                 "a FHIR package (.tgz), or us-core for the one that came with the program")
      ->allow_extra_args(false);
  app.add_option("--format", arguments.format, "text, json (one OperationOutcome a line) or junit")
      ->check(CLI::IsMember({"text", "json", "junit"}));
  app.add_option("--explain", arguments.explain,
                 "instead of checking: which definition says what of the values that this FHIRPath "
                 "picks");
  app.add_flag("--batch", arguments.batch, "JSON lines in, JSON lines out");
  app.add_flag("--quiet", arguments.quiet, "errors and warnings only, no notes");
  app.add_flag("--ndjson", arguments.ndjson, "every line of a file is a resource");
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& problem) {
    return app.exit(problem) == 0 ? kOk : kUsage;
  }
  if (arguments.files.empty()) {
    arguments.files.emplace_back("-");
  }
  return run(arguments);
}

}  // namespace engine::cli

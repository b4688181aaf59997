#include "engine/cli/map_samples.h"

#include <algorithm>
#include <string_view>
#include <utility>

#include "engine/cli/map_work.h"
#include "engine/cli/set_samples.h"
#include "engine/cli/stamp.h"
#include "engine/json/write.h"
#include "engine/therapy/translate.h"

namespace engine::cli {
namespace {

using base::Error;
using base::Result;
using base::SourceFile;

constexpr std::string_view kIn = ".in.json";
constexpr std::string_view kSession = ".session.json";

std::string pretty(std::string_view text) {
  json::NameTable names;
  json::Document document(names);
  if (!document.parse(text)) {
    return std::string(text);
  }
  return json::to_pretty_text(*document.root());
}

// Of the rules, those that fired in either.
void add_fired(const std::vector<bool>& fired, std::vector<bool>& to) {
  to.resize(std::max(to.size(), fired.size()));
  for (std::size_t i = 0; i < fired.size(); ++i) {
    to[i] = to[i] || fired[i];
  }
}

void run_map_sample(const MapBench& bench, const SourceFile& file, bool coverage,
                    SampleResult& out) {
  const std::size_t slash = file.name.rfind('/');
  const std::string stem = file.name.substr(slash + 1, file.name.find('.', slash) - slash - 1);
  const mapping::MapInfo* map = nullptr;
  for (const mapping::MapInfo& info : bench.maps().maps()) {
    if (info.file == stem + ".map" || info.name == stem) {
      map = &info;
    }
  }
  if (map == nullptr) {
    out.faults.push_back("there is no map " + stem + ".map for this sample");
    return;
  }
  json::Document document(bench.catalog().names());
  if (Result<void> parsed = document.parse(file.bytes); !parsed) {
    out.faults.push_back(parsed.error().text());
    return;
  }
  const json::Node* source = document.root();
  Result<MapOutcome> ran = bench.run(map->groups[0], {&source, 1}, coverage);
  if (!ran) {
    out.faults.push_back(ran.error().text());
    return;
  }
  out.got = std::move(ran->output);
  add_fired(ran->fired, out.fired);
}

std::string stamp_of(const SourceFile& file) {
  const json::NameTable names;
  json::Document document(names);
  return document.parse(file.bytes) ? default_stamp(*document.root()) : std::string();
}

void run_session_sample(const therapy::Translator& translator, const SourceFile& file,
                        const std::string& accepted_at, bool coverage, SampleResult& out) {
  out.is_session = true;
  const therapy::Revision revision{file.bytes, accepted_at.empty() ? stamp_of(file) : accepted_at};
  const therapy::Translation made =
      translator.translate({&revision, 1}, {.lineage = false, .coverage = coverage});
  add_fired(made.fired, out.fired);
  for (const fhir::Issue& issue : made.issues) {
    out.errors += issue.severity <= fhir::Severity::kError ? 1U : 0U;
    out.warnings += issue.severity == fhir::Severity::kWarning ? 1U : 0U;
  }
  if (is_fault(made)) {
    out.faults.push_back(made.hold_reason.empty() ? "refused" : made.hold_reason);
    for (const fhir::Issue& issue : made.issues) {
      if (issue.severity <= fhir::Severity::kError) {
        out.faults.push_back(issue.expression + (issue.expression.empty() ? "" : ": ") +
                             issue.text + (issue.rule.empty() ? "" : " [" + issue.rule + "]"));
      }
    }
  }
  out.got = made.bundle.empty() ? std::string() : pretty(made.bundle);
}

std::vector<std::string_view> lines_of(std::string_view text) {
  std::vector<std::string_view> lines;
  while (!text.empty()) {
    const std::size_t end = text.find('\n');
    lines.push_back(text.substr(0, end));
    text.remove_prefix(end == std::string_view::npos ? text.size() : end + 1);
  }
  return lines;
}

}  // namespace

bool is_sample(std::string_view name) {
  const bool in_samples =
      name.starts_with("samples/") || name.find("/samples/") != std::string_view::npos;
  return in_samples && (name.ends_with(kIn) || name.ends_with(kSession));
}

std::vector<SampleResult> run_samples(const MapWork& work, const std::string& accepted_at,
                                      bool coverage) {
  std::vector<SampleResult> results;
  std::unique_ptr<therapy::Translator> translator;
  for (const MapSample& sample : work.samples) {
    const std::string& name = sample.file.name;
    const bool session = name.ends_with(kSession);
    SampleResult& result = results.emplace_back();
    result.sample = &sample;
    const std::size_t tail = session ? kSession.size() : kIn.size();
    result.expected = name.substr(0, name.size() - tail) + (session ? ".bundle.json" : ".out.json");
    if (!session) {
      run_map_sample(work.bench, sample.file, coverage, result);
      continue;
    }
    if (translator == nullptr) {
      Result<std::unique_ptr<therapy::Translator>> loaded = therapy::Translator::load(work.sources);
      if (!loaded) {
        result.faults.push_back(loaded.error().text());
        return results;
      }
      translator = std::move(*loaded);
    }
    run_session_sample(*translator, sample.file, accepted_at, coverage, result);
  }
  return results;
}

std::string difference(const std::string& expected, const std::string& got) {
  json::NameTable names;
  json::Document a(names);
  json::Document b(names);
  if (a.parse(expected) && b.parse(got) &&
      json::to_canonical_text(*a.root()) == json::to_canonical_text(*b.root())) {
    return {};
  }
  // Longest common subsequence of lines; samples have some thousands at most.
  const std::string left_text = pretty(expected);
  const std::vector<std::string_view> left = lines_of(left_text);
  const std::vector<std::string_view> right = lines_of(got);
  constexpr std::size_t kLinesMax = 8'000;
  if (left.size() > kLinesMax || right.size() > kLinesMax) {
    return "the texts differ; they are too long to compare line by line\n";
  }
  std::vector<std::vector<std::uint16_t>> common(left.size() + 1,
                                                 std::vector<std::uint16_t>(right.size() + 1, 0));
  for (std::size_t i = left.size(); i-- > 0;) {
    for (std::size_t j = right.size(); j-- > 0;) {
      common[i][j] = left[i] == right[j] ? static_cast<std::uint16_t>(common[i + 1][j + 1] + 1)
                                         : std::max(common[i + 1][j], common[i][j + 1]);
    }
  }
  std::vector<std::pair<char, std::string_view>> script;
  std::size_t i = 0;
  std::size_t j = 0;
  while (i < left.size() || j < right.size()) {
    if (i < left.size() && j < right.size() && left[i] == right[j]) {
      script.emplace_back(' ', left[i++]);
      ++j;
    } else if (j == right.size() || (i < left.size() && common[i + 1][j] >= common[i][j + 1])) {
      script.emplace_back('-', left[i++]);
    } else {
      script.emplace_back('+', right[j++]);
    }
  }
  constexpr std::size_t kAround = 2;
  std::string out;
  std::size_t shown_to = 0;
  for (std::size_t at = 0; at < script.size(); ++at) {
    if (script[at].first == ' ') {
      continue;
    }
    const std::size_t from = std::max(shown_to, at < kAround ? 0 : at - kAround);
    if (from > shown_to && !out.empty()) {
      out += "  ...\n";
    }
    for (std::size_t k = from; k < std::min(at + 1 + kAround, script.size()); ++k) {
      if (k > at && script[k].first != ' ') {
        break;
      }
      out += std::string(1, script[k].first) + " " + std::string(script[k].second) + "\n";
      shown_to = k + 1;
    }
  }
  return out;
}

}  // namespace engine::cli

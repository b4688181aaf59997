#pragma once
// How `chartferry check` shows what it found: a table for people, OperationOutcomes as JSON lines,
// or JUnit XML for build servers.

#include <cstdio>
#include <string>
#include <vector>

#include "engine/fhir/issue.h"

namespace engine::cli {

// One resource that was checked.
struct CheckedResource {
  std::string file;   // "-" for standard input
  std::size_t line;   // of an NDJSON file, from 1; 0: the file is one resource
  std::string title;  // "Observation/abc"; empty when it is no resource
  fhir::Issues issues;

  std::string place() const { return line == 0 ? file : file + ":" + std::to_string(line); }
};

enum class CheckFormat { kText, kJson, kJunit };

struct CheckTally {
  std::size_t resources = 0;
  std::size_t with_errors = 0;
  std::size_t errors = 0;
  std::size_t warnings = 0;
  std::size_t notes = 0;

  void add(const fhir::Issues& issues);
};

// Writes each resource as it comes; finish() writes what belongs at the end.
class CheckOutput {
 public:
  CheckOutput(CheckFormat format, bool colours, std::FILE* to)
      : format_(format), colours_(colours), to_(to) {}

  void write(const CheckedResource& checked);
  void finish();
  const CheckTally& tally() const { return tally_; }

 private:
  void write_text(const CheckedResource& checked);
  void write_junit() const;

  CheckFormat format_;
  bool colours_;
  std::FILE* to_;
  CheckTally tally_;
  std::vector<CheckedResource> kept_;  // JUnit counts before it lists
};

}  // namespace engine::cli

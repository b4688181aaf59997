#pragma once
// Builds the finding[] of a session document's tree, and the readings that findings are computed
// from, collected once. Internal to the folder's findings_*.cc.

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/decimal.h"
#include "engine/json/document.h"
#include "engine/therapy/clock_text.h"
#include "engine/therapy/predictions.h"
#include "engine/therapy/settings.h"

namespace engine::therapy {

struct Quantity {
  base::Decimal value;
  std::string_view unit;  // UCUM
};

// Where a value came from: an entry and the role that its map gives the reading.
struct Input {
  std::string_view entry;
  std::string_view role;
};

// One saturation, wherever it was recorded, with the oxygen in force.
struct SaturationReading {
  base::Decimal value;
  const json::Node* entry = nullptr;
  std::string_view role;
  Moment at;
  std::string_view phase;  // rest, effort, recovery, or empty
  const json::Node* oxygen = nullptr;
  bool timed = true;  // false: known only to lie within the entry's period
  bool final = true;
};

struct Finding {
  std::string_view code;
  std::string_view role;
  const json::Node* entry = nullptr;  // nullptr: of the whole session
  std::string method;
  bool final = true;
  std::vector<Input> from;
  std::string_view time;  // empty: the session's period
  std::optional<Quantity> value;
  std::optional<int> integer;
  std::string text;
  std::optional<Quantity> low;  // with high: a range
  std::optional<Quantity> high;
  std::string_view concept_code;
  std::string_view absent;
  bool shown_only = false;

  struct Part {
    std::string_view code;
    std::optional<Quantity> value;
    std::optional<int> integer;
    std::string text;
    std::string_view absent;
  };
  std::vector<Part> parts;
};

class FindingWriter {
 public:
  FindingWriter(json::Document& document, const Settings& settings, Predictions& predictions)
      : document_(document), settings_(settings), predictions_(predictions) {}

  // Appends it unless the site has switched it off.
  void add(const Finding& finding);
  const Settings& settings() const { return settings_; }
  Predictions& predictions() { return predictions_; }
  const json::Node& session() const { return *document_.root(); }
  bool closed() const { return session().string_at("status") == "closed"; }

 private:
  json::Node* quantity(const Quantity& quantity);
  json::Node* parts(const Finding& finding);
  json::Node* inputs(const Finding& finding);
  // A text member, left out when empty.
  void text(json::Node* to, std::string_view member, std::string_view value);

  json::Document& document_;
  const Settings& settings_;
  Predictions& predictions_;
};

// What findings are computed from, in order of time.
struct Readings {
  std::vector<SaturationReading> saturations;
  std::vector<const json::Node*> entries;
};
Readings collect_readings(const json::Node& session);

bool is_final(const json::Node& entry);
std::optional<Moment> start_of(const json::Node& entry);
std::optional<Moment> end_of(const json::Node& entry);
// "nasal cannula 2 L/min", for texts.
std::string oxygen_text(const json::Node* oxygen);

// --- The findings, one function a family.
void add_oxygen_findings(FindingWriter& writer, const Readings& readings);
void add_saturation_findings(FindingWriter& writer, const Readings& readings);
void add_trial_findings(FindingWriter& writer, const Readings& readings);
void add_breathing_findings(FindingWriter& writer, const Readings& readings);
void add_adherence_finding(FindingWriter& writer, const Readings& readings);
void add_effort_findings(FindingWriter& writer, const Readings& readings);
void add_news2_findings(FindingWriter& writer, const Readings& readings);
void add_minutes_finding(FindingWriter& writer);

}  // namespace engine::therapy

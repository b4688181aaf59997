#include "engine/therapy/findings.h"

#include "engine/therapy/finding_writer.h"
#include "engine/therapy/rendering.h"

namespace engine::therapy {

void add_findings(json::Document& document, const Workshop& shop, Predictions& predictions) {
  FindingWriter writer(document, shop.settings, predictions);
  const Readings readings = collect_readings(*document.root());
  add_oxygen_findings(writer, readings);
  add_saturation_findings(writer, readings);
  add_trial_findings(writer, readings);
  add_breathing_findings(writer, readings);
  add_adherence_finding(writer, readings);
  add_effort_findings(writer, readings);
  add_news2_findings(writer, readings);
  add_minutes_finding(writer);
}

}  // namespace engine::therapy

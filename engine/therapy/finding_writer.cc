#include "engine/therapy/finding_writer.h"

#include <algorithm>

#include "engine/therapy/readings.h"
#include "engine/therapy/steps.h"
#include "engine/ucum/ucum.h"

namespace engine::therapy {

using base::Decimal;
using json::Document;
using json::Node;

Node* FindingWriter::quantity(const Quantity& quantity) {
  Node* node = document_.make_object();
  document_.append(node, "value", document_.make_number(quantity.value.to_string()));
  document_.append(node, "unit", document_.make_string(quantity.unit));
  document_.append(node, "system", document_.make_string(ucum::kSystem));
  document_.append(node, "code", document_.make_string(quantity.unit));
  return node;
}

void FindingWriter::text(Node* to, std::string_view member, std::string_view value) {
  if (!value.empty()) {
    document_.append(to, member, document_.make_string(value));
  }
}

Node* FindingWriter::parts(const Finding& finding) {
  Node* out = document_.make_array();
  for (const Finding::Part& part : finding.parts) {
    Node* item = document_.make_object();
    text(item, "code", part.code);
    if (part.value) {
      document_.append(item, "value", quantity(*part.value));
    }
    if (part.integer) {
      document_.append(item, "integer", document_.make_number(std::to_string(*part.integer)));
    }
    text(item, "text", part.text);
    text(item, "absent", part.absent);
    Document::append(out, item);
  }
  return out;
}

Node* FindingWriter::inputs(const Finding& finding) {
  Node* from = document_.make_array();
  for (const Input& input : finding.from) {
    Node* item = document_.make_object();
    text(item, "entry", input.entry);
    text(item, "role", input.role);
    Document::append(from, item);
  }
  return from;
}

void FindingWriter::add(const Finding& finding) {
  if (settings_.findings_off.count(std::string(finding.code)) != 0) {
    return;
  }
  Node& root = *document_.root();
  Node* list = root.find("finding");
  if (list == nullptr) {
    list = document_.make_array();
    document_.append(&root, "finding", list);
  }
  Node* node = document_.make_object();
  text(node, "code", finding.code);
  text(node, "role", finding.role);
  if (finding.entry != nullptr) {
    text(node, "entry", finding.entry->string_at("id"));
  }
  if (finding.value) {
    document_.append(node, "value", quantity(*finding.value));
  }
  if (finding.integer) {
    document_.append(node, "integer", document_.make_number(std::to_string(*finding.integer)));
  }
  text(node, "text", finding.text);
  if (finding.low && finding.high) {
    Node* range = document_.make_object();
    document_.append(range, "low", quantity(*finding.low));
    document_.append(range, "high", quantity(*finding.high));
    document_.append(node, "range", range);
  }
  text(node, "concept", finding.concept_code);
  text(node, "absent", finding.absent);
  text(node, "method", finding.method);
  if (!finding.time.empty()) {
    text(node, "time", finding.time);
  } else if (const Node* period =
                 finding.entry != nullptr && finding.entry->find("period") != nullptr
                     ? finding.entry->find("period")
                     : (finding.entry == nullptr ? root.find("period") : nullptr)) {
    document_.append(node, "period", document_.copy(*period));
  } else if (finding.entry != nullptr) {
    text(node, "time", finding.entry->string_at("time"));
  }
  document_.append(node, "final", document_.make_boolean(finding.final));
  if (finding.shown_only) {
    document_.append(node, "shownOnly", document_.make_boolean(true));
  }
  if (!finding.parts.empty()) {
    document_.append(node, "part", parts(finding));
  }
  if (!finding.from.empty()) {
    document_.append(node, "derivedFrom", inputs(finding));
  }
  Document::append(list, node);
}

bool is_final(const Node& entry) {
  const Node* frame = entry.find("frame");
  return frame == nullptr || frame->string_at("status") == "final";
}

std::optional<Moment> start_of(const Node& entry) {
  const Node* period = entry.find("period");
  return parse_moment(period != nullptr ? period->string_at("start") : entry.string_at("time"));
}

std::optional<Moment> end_of(const Node& entry) {
  const Node* period = entry.find("period");
  const std::string_view end = step_text(period, {"end"});
  if (!end.empty()) {
    return parse_moment(end);
  }
  return start_of(entry);
}

std::string oxygen_text(const Node* oxygen) {
  if (oxygen == nullptr) {
    return "oxygen not recorded";
  }
  std::string text(oxygen->string_at("device"));
  std::replace(text.begin(), text.end(), '-', ' ');
  for (const std::string_view part : {"flow", "fraction"}) {
    const Node* quantity = oxygen->find(part);
    const Node* value = quantity != nullptr ? quantity->find("value") : nullptr;
    if (value != nullptr) {
      text += " " + std::string(value->text()) + " " + std::string(quantity->string_at("unit"));
    }
  }
  return text;
}

namespace {

void take_vitals(const Node& entry, const Node& vitals, Readings& to) {
  const auto value = value_in(vitals.find("saturation"), "%");
  const auto at = start_of(entry);
  if (value && at) {
    to.saturations.push_back({*value, &entry, "saturation", *at, entry.string_at("phase"),
                              vitals.find("oxygen"), true, is_final(entry)});
  }
}

void take_self_care(const Node& entry, const Node& care, Readings& to) {
  const auto from = start_of(entry);
  const auto until = end_of(entry);
  if (!from || !until) {
    return;
  }
  const struct {
    std::string_view element;
    std::string_view role;
    std::string_view phase;
    const Moment& at;
    bool timed;
  } rows[] = {{"saturationBefore", "saturation-before", "rest", *from, true},
              {"saturationLowest", "saturation-lowest", "effort", *from, false},
              {"saturationAfter", "saturation-after", "recovery", *until, true}};
  for (const auto& row : rows) {
    if (const auto value = value_in(care.find(row.element), "%")) {
      to.saturations.push_back({*value, &entry, row.role, row.at, row.phase, care.find("oxygen"),
                                row.timed, is_final(entry)});
    }
  }
}

// SampledData: origin + factor x each word; "E", "U" and "L" are no values. The period is in
// milliseconds.
void take_series(const Node& entry, const Node& series, Readings& to) {
  const Node* data = series.find("saturation");
  const auto start = start_of(entry);
  const Node* period = data != nullptr ? data->find("period") : nullptr;
  const auto step = Decimal::parse(period != nullptr ? period->text() : "x");
  const auto milliseconds = step ? step->rounded(0).to_int64() : std::nullopt;
  if (!start || !milliseconds || *milliseconds <= 0) {
    return;
  }
  const Node* factor_node = data->find("factor");
  const auto factor = Decimal::parse(factor_node != nullptr ? factor_node->text() : "1");
  const Node* origin_node = data->find("origin");
  const Node* origin_value = origin_node != nullptr ? origin_node->find("value") : nullptr;
  const auto origin = Decimal::parse(origin_value != nullptr ? origin_value->text() : "0");
  const std::string_view words = data->string_at("data");
  std::int64_t index = 0;
  for (std::size_t at = 0; at < words.size(); ++index) {
    const std::size_t end = std::min(words.find(' ', at), words.size());
    const auto raw = Decimal::parse(words.substr(at, end - at));
    at = end + 1;
    if (!raw || !factor || !origin) {
      continue;
    }
    const auto scaled = Decimal::multiply(*raw, *factor);
    const auto value = scaled ? Decimal::add(*scaled, *origin) : std::nullopt;
    if (value) {
      Moment moment = *start;
      moment.milliseconds += index * *milliseconds;
      to.saturations.push_back({*value, &entry, "saturation-series", moment,
                                entry.string_at("phase"), series.find("oxygen"), true,
                                is_final(entry)});
    }
  }
}

}  // namespace

Readings collect_readings(const Node& session) {
  Readings readings;
  const Node* entries = session.find("entry");
  for (const Node* entry = entries != nullptr ? entries->first : nullptr; entry != nullptr;
       entry = entry->next) {
    readings.entries.push_back(entry);
    if (const Node* vitals = entry->find("vitals")) {
      take_vitals(*entry, *vitals, readings);
    } else if (const Node* care = entry->find("selfCare")) {
      take_self_care(*entry, *care, readings);
    } else if (const Node* series = entry->find("oximetrySeries")) {
      take_series(*entry, *series, readings);
    }
  }
  const auto earlier = [](const auto& a, const auto& b) { return a.at < b.at; };
  std::stable_sort(readings.saturations.begin(), readings.saturations.end(), earlier);
  std::stable_sort(readings.entries.begin(), readings.entries.end(),
                   [](const Node* a, const Node* b) {
                     const auto x = start_of(*a);
                     const auto y = start_of(*b);
                     return x && y && *x < *y;
                   });
  return readings;
}

}  // namespace engine::therapy

// Recorded traffic through changed maps, with the differences told by kind.

#include <algorithm>
#include <utility>

#include "engine/base/limits.h"
#include "engine/cli/try_out.h"
#include "engine/json/write.h"
#include "engine/replay/replay.h"

namespace engine::cli {
namespace {

constexpr std::size_t kExamplesMax = 3;  // of each kind
constexpr std::size_t kKindsMax = 100;   // more is read by nobody

// Makes bundles and no lineage.
class BareCore final : public intake::SessionCore {
 public:
  explicit BareCore(const therapy::Translator& translator) : translator_(translator) {}
  therapy::Translator::Admission admit(std::string_view body) const override {
    return translator_.admit(body);
  }
  therapy::Translation translate(std::span<const therapy::Revision> revisions) const override {
    return translator_.translate(revisions, {.lineage = false});
  }
  const therapy::Provenance& provenance() const override { return translator_.provenance(); }

 private:
  const therapy::Translator& translator_;
};

void member(std::string& out, std::string_view name, std::string_view text) {
  out += out.ends_with('{') ? "\"" : ",\"";
  out.append(name).append("\":");
  json::write_string(text, out);
}

void write_example(const replay::LookReport::Example& example, bool values, std::string& out) {
  out += out.ends_with('[') ? "{" : ",{";
  member(out, "session", example.at.session);
  out += ",\"revision\":" + std::to_string(example.at.revision);
  member(out, "target", example.at.target);
  member(out, "element", example.change.element);
  if (values) {
    member(out, "before", example.change.before);
    member(out, "after", example.change.after);
  }
  out += "}";
}

}  // namespace

base::Result<web::TryOutTold> try_traffic(const TrialSet& trial, const journal::Store& store,
                                          const std::set<std::string>& apart,
                                          const web::TryOutWish& wish,
                                          const std::function<bool()>& enough) {
  replay::Look look;
  look.range = {wish.since, wish.until};
  look.whose.apart = apart;
  look.before = wish.before;
  look.limit = wish.limit != 0 ? wish.limit : base::limits::kTrafficMax;
  look.examples_max = kExamplesMax;
  look.kinds_max = kKindsMax;
  look.enough = enough;
  const auto report = replay::look_back(store, BareCore(*trial.in_force.translator),
                                        BareCore(*trial.translator), look);
  if (!report) {
    return report.error();
  }
  web::TryOutTold told;
  told.asked_with = ids_of(trial.translator->provenance()).name();
  std::string& out = told.body;
  out = "{\"compiled\":true";
  member(out, "set", told.asked_with);
  member(out, "setInForce", trial.in_force.ids.name());
  out += ",\"looked\":" + std::to_string(report->looked) +
         ",\"same\":" + std::to_string(report->same) +
         ",\"otherSets\":" + std::to_string(report->left_out) + ",\"kinds\":[";
  for (const auto& [kind, found] : report->kinds) {
    out += out.ends_with('[') ? "{" : ",{";
    member(out, "kind", kind);
    out += ",\"count\":" + std::to_string(found.count) +
           ",\"translations\":" + std::to_string(found.translations) + ",\"examples\":[";
    for (const replay::LookReport::Example& example : found.examples) {
      write_example(example, wish.values, out);
      const auto same = [&](const web::TryOutTold::Read& read) {
        return read.session == example.at.session && read.revision == example.at.revision;
      };
      if (std::none_of(told.reads.begin(), told.reads.end(), same)) {
        told.reads.push_back({example.at.session, example.at.revision});
      }
    }
    out += "]}";
  }
  out += "],\"otherKinds\":" + std::to_string(report->other_kinds);
  if (report->next != 0) {
    out += ",\"next\":" + std::to_string(report->next);
  }
  out += "}";
  return told;
}

}  // namespace engine::cli

#include "engine/therapy/rendering.h"

#include <algorithm>
#include <utility>

#include "engine/base/limits.h"
#include "engine/therapy/findings.h"
#include "engine/therapy/frames.h"
#include "engine/therapy/history.h"
#include "engine/therapy/ids.h"
#include "engine/therapy/rules.h"
#include "engine/therapy/structure.h"

namespace engine::therapy {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using json::Node;
using Arguments = std::span<const std::optional<std::string>>;
using Answer = Result<std::optional<std::string>>;

Answer call_entry_id(const void* context, Arguments arguments) {
  if (!arguments[0] || !arguments[1]) {
    return std::optional<std::string>();
  }
  const auto& known = *static_cast<const MapContext*>(context);
  return std::optional<std::string>(
      base::to_string(entry_role_id(known.session, *arguments[0], *arguments[1])));
}

Answer call_conditional(const void*, Arguments arguments) {
  if (!arguments[0] || !arguments[1] || !arguments[2]) {
    return std::optional<std::string>();
  }
  return std::optional<std::string>(*arguments[0] + "?" +
                                    identifier_query(*arguments[1], *arguments[2]));
}

Answer call_words(const void* context, Arguments arguments) {
  if (!arguments[0]) {
    return std::optional<std::string>();
  }
  const auto& words = static_cast<const MapContext*>(context)->shop->words;
  const auto found = words.find(*arguments[0]);
  return std::optional<std::string>(found == words.end() ? *arguments[0] : found->second);
}

void read_header(const Node& root, SessionHeader& header) {
  const auto key_of = [](const Node* identifier) {
    return identifier == nullptr ? std::string()
                                 : std::string(identifier->string_at("system")) + "|" +
                                       std::string(identifier->string_at("value"));
  };
  if (const Node* identifier = root.find("identifier")) {
    header.system = identifier->string_at("system");
    header.value = identifier->string_at("value");
    header.session_id = base::to_string(session_space(header.system, header.value));
  }
  if (const Node* revision = root.find("revision")) {
    const auto number = base::Decimal::parse(revision->is_number() ? revision->text() : "0");
    const auto value = number ? number->to_int64() : std::nullopt;
    header.revision = static_cast<std::uint32_t>(
        std::clamp<std::int64_t>(value.value_or(0), 0, std::numeric_limits<std::int32_t>::max()));
  }
  header.closed = root.string_at("status") == "closed";
  header.in_error = root.string_at("status") == "entered-in-error";
  if (const Node* patient = root.find("patient")) {
    header.patient_key = key_of(patient->find("identifier"));
  }
  if (const Node* therapist = root.find("therapist")) {
    header.therapist_key = key_of(therapist->find("identifier"));
  }
}

// The kind's map, and that of absent readings, for every entry.
Result<void> map_entry(Rendering& to, const Workshop& shop, const Node& session, Node& entry) {
  const SessionModel& model = *shop.model;
  const mapping::Binding bindings[] = {
      mapping::Binding::of_source(session, model.session()),
      mapping::Binding::of_source(entry, model.entry()),
      mapping::Binding::of_target(*to.bundle),
  };
  const int kind = model.kind_of(entry);
  if (kind >= 0) {
    Result<void> mapped = to.run->call(shop.groups.kinds[static_cast<std::size_t>(kind)], bindings);
    if (!mapped) {
      return mapped;
    }
  }
  if (entry.find("absent") != nullptr) {
    return to.run->call(shop.groups.absent, bindings);
  }
  return {};
}

Result<void> map_all(Rendering& to, const Workshop& shop) {
  const SessionModel& model = *shop.model;
  Node& session = *to.document.root();
  const mapping::Binding whole[] = {mapping::Binding::of_source(session, model.session()),
                                    mapping::Binding::of_target(*to.bundle)};
  Result<void> mapped = to.run->call(shop.groups.session, whole);
  if (!mapped) {
    return mapped;
  }
  Node* entries = session.find("entry");
  for (Node* entry = entries != nullptr ? entries->first : nullptr; entry != nullptr;
       entry = entry->next) {
    mapped = map_entry(to, shop, session, *entry);
    if (!mapped) {
      return mapped;
    }
  }
  if (session.find("finding") != nullptr) {
    mapped = to.run->call(shop.groups.finding, whole);
    if (!mapped) {
      return mapped;
    }
  }
  if (shop.settings.summary) {
    mapped = to.run->call(shop.groups.summary, whole);
    if (!mapped) {
      return mapped;
    }
  }
  to.run->finish();
  return {};
}

void hold(Rendering& to, std::string_view reason, const std::string& text, std::string_view rule) {
  fhir::Issue issue;
  issue.severity = fhir::Severity::kError;
  issue.code = reason == "unknown-code" ? "code-invalid" : "processing";
  issue.text = text;
  issue.rule = rule;
  to.issues.push_back(std::move(issue));
  if (to.hold_reason.empty()) {
    to.hold_reason = reason;
  }
}

// One issue a code, as many as a person reads; the last one says how many more there are.
void hold_for_codes(Rendering& to) {
  const std::span<const mapping::Untranslated> codes = to.run->untranslated();
  const std::size_t told = std::min(codes.size(), base::limits::kUntranslatedIssuesMax);
  for (const mapping::Untranslated& code : codes.first(told)) {
    hold(to, "unknown-code",
         "The code '" + code.code + "' has no translation in " + code.table +
             ": add a row to the table, or correct the code.",
         code.place);
  }
  if (told < codes.size()) {
    hold(to, "unknown-code",
         "Codes without a translation beside these: " + std::to_string(codes.size() - told) +
             ". Add the rows above and look again.",
         {});
  }
}

void map_session(Rendering& to, const Workshop& shop, const Wanted& wanted) {
  mapping::RunOptions options;
  options.uuid_seed = to.header.session_id;
  options.host_context = &to.context;
  options.stop_at_untranslated = false;
  options.with_lineage = wanted.lineage || wanted.rule_runs;
  options.with_rule_runs = wanted.rule_runs;
  to.run = std::make_unique<mapping::Run>(*shop.maps, to.document, std::move(options));
  if (wanted.coverage) {
    to.run->watch_coverage();
  }
  Result<void> framed = add_frames(to, shop);
  if (!framed) {
    hold(to, "map-failed", framed.error().detail, framed.error().where);
    return;
  }
  to.bundle = to.document.make_object();
  to.document.append(to.bundle, "resourceType", to.document.make_string("Bundle"));
  to.document.append(to.bundle, "type", to.document.make_string("transaction"));
  // Of a session that should never have been, nothing is made, so all that was there is taken back.
  if (to.header.in_error) {
    to.run->finish();
    return;
  }
  Result<void> mapped = map_all(to, shop);
  if (!mapped) {
    hold(to, "map-failed", "A map could not make the resources: " + mapped.error().detail,
         mapped.error().where);
    return;
  }
  hold_for_codes(to);
  to.resources = resources_of(*to.bundle);
}

}  // namespace

mapping::LoadOptions map_options(const Settings& settings) {
  mapping::LoadOptions options;
  options.functions = {{"entryId", 2, 2, &call_entry_id},
                       {"conditional", 3, 3, &call_conditional},
                       {"words", 1, 1, &call_words}};
  options.constants = {{"base", settings.base}};
  return options;
}

std::vector<Resource> resources_of(Node& bundle) {
  std::vector<Resource> resources;
  Node* entries = bundle.find("entry");
  for (Node* entry = entries != nullptr ? entries->first : nullptr; entry != nullptr;
       entry = entry->next) {
    Node* node = entry->find("resource");
    if (node == nullptr) {
      continue;
    }
    Resource resource{entry, node, node->string_at("resourceType"), {}, false};
    if (const Node* identifiers = node->find("identifier")) {
      const Node* first = identifiers->is_array() ? identifiers->first : identifiers;
      resource.id = first != nullptr ? first->string_at("value") : std::string_view();
    } else {
      resource.id = node->string_at("id");
    }
    resources.push_back(std::move(resource));
  }
  return resources;
}

void parse_session(std::string_view body, Rendering& to) {
  json::ParseLimits limits;
  limits.bytes_max = base::limits::kBodyBytesMax;
  Result<void> parsed = to.document.parse(body, limits);
  if (!parsed) {
    fhir::Issue issue;
    issue.code = parsed.error().code == ErrorCode::kLimit ? "too-costly" : "structure";
    issue.text =
        "This is no readable JSON: " + parsed.error().detail +
        (parsed.error().where.empty() ? "" : " (line:column " + parsed.error().where + ")");
    to.issues.push_back(std::move(issue));
    to.refused = true;
  }
}

namespace {

void take_header(const Workshop& shop, Rendering& to) {
  if (to.document.root()->is_object()) {
    read_header(*to.document.root(), to.header);
    to.context = {&shop, session_space(to.header.system, to.header.value)};
  }
}

}  // namespace

void judge_session(std::string_view body, const Workshop& shop, Rendering& to) {
  Report report(body, to.issues);
  take_header(shop, to);
  Node& root = *to.document.root();
  if (to.header.in_error) {
    read_taken_back(to.document, *shop.model, report);
    if (!report.refused()) {
      check_header(root, report);
    }
  } else {
    read_structure(to.document, *shop.model, *shop.table, report);
    if (!report.refused()) {
      check_frame(root, report);
      check_entries(root, *shop.model, *shop.table, report);
      to.predictions.emplace(root);
      check_predicted(root, *shop.table, *to.predictions, report);
      note_limits(root, report);
    }
  }
  to.refused = report.refused();
  to.hold_reason = report.hold_reason();
}

void read_session(std::string_view body, const Workshop& shop, Rendering& to) {
  parse_session(body, to);
  if (!to.refused) {
    judge_session(body, shop, to);
  }
}

void read_earlier(std::string_view body, const Workshop& shop, Rendering& to) {
  parse_session(body, to);
  to.refused = to.refused || !to.document.root()->is_object();
  if (!to.refused) {
    read_as_said(to.document, *shop.model);
    take_header(shop, to);
  }
}

std::unique_ptr<Rendering> render(std::span<const Revision> revisions, const Workshop& shop,
                                  const Wanted& wanted) {
  auto rendering = std::make_unique<Rendering>(shop.model->catalog().names());
  Rendering& to = *rendering;
  const Revision& last = revisions.back();
  read_session(last.body, shop, to);
  if (to.refused) {
    return rendering;
  }
  Report report(last.body, to.issues);
  const History history = merge_history(revisions, shop, to.document, report);
  if (!history.whole) {
    to.hold_reason = kNotAdmitted;
    return rendering;
  }
  if (!to.header.in_error) {
    check_future(*to.document.root(), last.accepted_at, shop.settings, report);
  }
  prepare_frames(to.document, history, last.accepted_at, report);
  to.verifiers = Attested(*to.document.root(), history.attestations).anew();
  if (!to.header.in_error) {
    add_findings(to.document, shop, *to.predictions);
  }
  to.refused = report.refused();
  if (to.hold_reason.empty()) {
    to.hold_reason = report.hold_reason();
  }
  if (!to.refused) {
    map_session(to, shop, wanted);
  }
  return rendering;
}

}  // namespace engine::therapy

#include "sandbox/record_server/record_server.h"

#include <array>

#include "engine/fhir/issue.h"
#include "engine/json/write.h"
#include "sandbox/record_server/append_file.h"
#include "sandbox/record_server/capability.h"
#include "sandbox/record_server/interactions.h"
#include "sandbox/record_server/reading.h"
#include "sandbox/record_server/references.h"
#include "sandbox/record_server/resource_types.h"
#include "sandbox/record_server/target.h"
#include "sandbox/record_server/transaction.h"

namespace sandbox::record_server {
namespace {

using engine::json::Document;
using engine::json::Node;

constexpr std::string_view kHtmlPage =
    "<!DOCTYPE html><html><head><title>Sign in</title></head><body>Please sign in.</body></html>";

Response json_response(std::string body) {
  Response response;
  response.headers.emplace_back("Content-Type", "application/fhir+json");
  response.body = std::move(body);
  return response;
}

bool names_json(std::string_view media) {
  return media.find("json") != std::string_view::npos ||
         media.find("*/*") != std::string_view::npos;
}

void check_media(const Request& request, const Target& target) {
  const std::string_view content = header_of(request.headers, "Content-Type");
  const bool form = content.starts_with("application/x-www-form-urlencoded") &&
                    !target.segments.empty() && target.segments.back() == "_search";
  if (!request.body.empty() && !form && !names_json(content)) {
    throw Refusal(415, "not-supported", "Bodies are read as application/fhir+json only.");
  }
  std::string_view wanted = header_of(request.headers, "Accept");
  for (const auto& [name, value] : target.parameters) {
    wanted = name == "_format" ? std::string_view(value) : wanted;
  }
  if (!wanted.empty() && !names_json(wanted)) {
    throw Refusal(406, "not-supported", "Answers are given as application/fhir+json only.");
  }
}

std::string query_part(std::string_view target) {
  const std::size_t question = target.find('?');
  return question == std::string_view::npos ? std::string() : std::string(target.substr(question));
}

[[noreturn]] void refuse_method() {
  throw Refusal(405, "not-supported", "The method is not supported at this URL.");
}

void set_abilities(const Node& body, Abilities& abilities) {
  const std::array<std::pair<std::string_view, bool*>, 7> rows = {
      {{"transaction", &abilities.transaction},
       {"batch", &abilities.batch},
       {"conditionalCreate", &abilities.conditional_create},
       {"conditionalUpdate", &abilities.conditional_update},
       {"conditionalDelete", &abilities.conditional_delete},
       {"updateCreate", &abilities.update_create},
       {"enforceReferences", &abilities.enforce_references}}};
  for (const Node& member : body) {
    bool known = false;
    for (const auto& [name, value] : rows) {
      if (name == member.name_text() && member.is_boolean()) {
        *value = member.boolean;
        known = true;
      }
    }
    if (!known) {
      throw Refusal(400, "value", "There is no such ability, or its value is no boolean.");
    }
  }
}

}  // namespace

RecordServer::RecordServer(std::string base_url, const engine::base::Clock& clock)
    : store_(names_), base_url_(std::move(base_url)), clock_(clock) {
  const std::size_t host = base_url_.find("://");
  const std::size_t path = base_url_.find('/', host == std::string::npos ? 0 : host + 3);
  base_path_ = path == std::string::npos ? std::string() : base_url_.substr(path);
}

RecordServer::~RecordServer() = default;

engine::base::Result<void> RecordServer::keep_in(const std::string& path) {
  auto file = AppendFile::open(path, names_, store_);
  if (!file) {
    return std::move(file).error();
  }
  file_ = std::move(*file);
  store_.set_durable([this](const std::vector<Change>& changes) { return file_->append(changes); });
  return {};
}

Context RecordServer::context() {
  return {store_, names_, abilities_, base_url_, engine::base::to_instant(clock_.now())};
}

void RecordServer::commit() {
  if (!store_.commit()) {
    throw Refusal(500, "no-store", "The write could not be made durable; nothing was kept.");
  }
}

Answered RecordServer::handle(const Request& request) {
  Answered answered;
  const std::string_view target = request.target;
  if (target.starts_with("/$")) {
    answered.response = serve_control(request, target);
    return answered;
  }
  ++counts_["requests"];
  const bool ours = target.starts_with(base_path_) &&
                    (target.size() == base_path_.size() || target[base_path_.size()] == '/' ||
                     target[base_path_.size()] == '?');
  if (!ours) {
    answered.response = answer_of(Refusal(404, "not-found", "The FHIR interface is elsewhere."));
    return answered;
  }
  const std::string_view rest = target.substr(base_path_.size());
  const auto fault = faults_.next(request.method, rest);
  const auto action = fault ? fault->action : FaultAction::kLatency;
  if (fault) {
    ++counts_["fault:" + std::string(name_of(action))];
    answered.delay = fault->delay;
  }
  if (action == FaultAction::kStatusAfterCommit) {
    static_cast<void>(serve_fhir(request, rest));
  }
  if (action == FaultAction::kStatus || action == FaultAction::kStatusAfterCommit) {
    answered.response =
        answer_of(Refusal(fault->status, fault->status == 429 ? "throttled" : "transient",
                          "The server is told to answer so."));
    if (fault->retry_after_seconds) {
      answered.response.headers.emplace_back("Retry-After",
                                             std::to_string(*fault->retry_after_seconds));
    }
    return answered;
  }
  answered.drop =
      action == FaultAction::kDropBeforeCommit || action == FaultAction::kDropAfterCommit;
  answered.slow = action == FaultAction::kSlowBody;
  if (action == FaultAction::kDropBeforeCommit) {
    return answered;
  }
  if (action != FaultAction::kHtml) {
    answered.response = serve_fhir(request, rest);
  }
  if (action == FaultAction::kHtml || action == FaultAction::kHtmlAfterCommit) {
    answered.response = {200, {{"Content-Type", "text/html"}}, std::string(kHtmlPage)};
  }
  return answered;
}

Response RecordServer::serve_control(const Request& request, std::string_view path) {
  const bool sets = request.method == "POST";
  Document document(names_);
  try {
    if (sets) {
      parse_body(document, request.body);
    }
    if (path == "/$faults") {
      if (sets) {
        faults_.set(*document.root());
      }
      return json_response("{\"faults\":" + faults_.describe() + '}');
    }
    if (path == "/$abilities" && sets) {
      set_abilities(*document.root(), abilities_);
      return json_response("{}");
    }
    if (path == "/$counters" && !sets) {
      return json_response(counters());
    }
  } catch (const Refusal& refusal) {
    return answer_of(refusal);
  }
  return answer_of(Refusal(404, "not-found", "There is no such control."));
}

std::string RecordServer::counters() const {
  std::map<std::string, std::uint64_t> types;
  for (const Record& record : store_.records()) {
    if (!record.newest().deleted()) {
      ++types[record.type];
    }
  }
  const auto object = [](const std::map<std::string, std::uint64_t>& counts) {
    std::string out = "{";
    for (const auto& [name, count] : counts) {
      out += out.size() > 1 ? "," : "";
      engine::json::write_string(name, out);
      out += ':' + std::to_string(count);
    }
    return out + '}';
  };
  return "{\"counters\":" + object(counts_) + ",\"resources\":" + object(types) + '}';
}

Response RecordServer::serve_fhir(const Request& request, std::string_view rest) {
  Response response;
  try {
    response = route(request, rest, false);
  } catch (const Refusal& refusal) {
    store_.rollback();
    response = answer_of(refusal);
    ++counts_["refused:" + std::to_string(refusal.status)];
  }
  if (request.method == "HEAD") {
    response.body.clear();
  }
  return response;
}

Response RecordServer::route(const Request& request, std::string_view rest, bool inside_bundle) {
  const Target target = parse_target(rest);
  check_media(request, target);
  Context here = context();
  const auto& segments = target.segments;
  const bool reads = request.method == "GET" || request.method == "HEAD";
  if (segments.empty()) {
    if (request.method != "POST" || inside_bundle) {
      refuse_method();
    }
    return serve_bundle(here, request);
  }
  if (segments[0] == "metadata" && segments.size() == 1 && reads) {
    return json_response(capability_statement(here));
  }
  if (segments[0] == "_history" && segments.size() == 1 && reads) {
    return history(here, "", "", target.parameters);
  }
  if (!is_resource_type(segments[0])) {
    throw Refusal(404, "not-supported", "This server keeps no resources of that type.");
  }
  const bool by_type =
      segments.size() == 1 ||
      (segments.size() == 2 && (segments[1] == "_search" || segments[1] == "_history"));
  return by_type ? serve_type(here, request, target) : serve_instance(here, request, target);
}

Response RecordServer::serve_bundle(Context& context, const Request& request) {
  Document document(names_);
  parse_body(document, request.body);
  check_resource(document.root(), "Bundle");
  const std::string_view type = document.root()->string_at("type");
  const std::string_view prefer = header_of(request.headers, "Prefer");
  const bool transaction = type == "transaction";
  if (!(transaction && abilities_.transaction) && !(type == "batch" && abilities_.batch)) {
    throw Refusal(400, "not-supported", "Bundles of this type are not supported here.",
                  "Bundle.type");
  }
  ++counts_[std::string(type)];
  if (!transaction) {
    return json_response(run_batch(context, document, prefer, [&](const Request& one) {
      try {
        return route(one, one.target, true);
      } catch (const Refusal& refusal) {
        store_.rollback();
        return answer_of(refusal);
      }
    }));
  }
  store_.begin();
  std::string body = run_transaction(
      context, document, prefer, [&](const Request& one) { return route(one, one.target, true); });
  commit();
  return json_response(std::move(body));
}

Response RecordServer::serve_type(Context& context, const Request& request, const Target& target) {
  const std::string& type = target.segments[0];
  const std::string_view prefer = header_of(request.headers, "Prefer");
  const bool reads = request.method == "GET" || request.method == "HEAD";
  if (target.segments.size() == 2 && target.segments[1] == "_history") {
    if (!reads) {
      refuse_method();
    }
    return history(context, type, "", target.parameters);
  }
  if (target.segments.size() == 2) {  // _search; parameters of URL and form add up
    if (request.method != "POST" && !reads) {
      refuse_method();
    }
    Parameters all = target.parameters;
    for (auto& parameter : parse_query(request.body)) {
      all.push_back(std::move(parameter));
    }
    return search(context, type, all, prefer);
  }
  if (reads) {
    return search(context, type, target.parameters, prefer);
  }
  const std::string query = query_part(request.target);
  const bool conditional = request.method == "PUT" || request.method == "DELETE";
  if ((!conditional && request.method != "POST") || (conditional && query.size() < 2)) {
    refuse_method();
  }
  return write(context, request, type, conditional ? query : std::string());
}

Response RecordServer::serve_instance(Context& context, const Request& request,
                                      const Target& target) {
  const auto& segments = target.segments;
  const bool reads = request.method == "GET" || request.method == "HEAD";
  if (segments.size() == 2 && segments[1].starts_with('$')) {
    throw Refusal(404, "not-supported", "This server has no operations.");
  }
  if (segments.size() == 2 && !reads) {
    if (request.method != "PUT" && request.method != "DELETE") {
      refuse_method();
    }
    return write(context, request, segments[0], segments[1]);
  }
  if (segments.size() == 2) {
    return read(context, segments[0], segments[1], header_of(request.headers, "If-None-Match"));
  }
  if (segments[2] != "_history" || segments.size() > 4) {
    throw Refusal(404, "not-found", "There is nothing at this URL.");
  }
  if (!reads) {
    refuse_method();
  }
  return segments.size() == 3 ? history(context, segments[0], segments[1], target.parameters)
                              : read_version(context, segments[0], segments[1], segments[3]);
}

Response RecordServer::write(Context& context, const Request& request, std::string_view type,
                             std::string_view place) {
  const std::string_view if_match = header_of(request.headers, "If-Match");
  const std::string_view prefer = header_of(request.headers, "Prefer");
  Document document(names_);
  Written written;
  store_.begin();
  if (request.method == "DELETE") {
    written = erase(context, type, place, if_match);
  } else {
    parse_body(document, request.body);
    check_resource(document.root(), type);
    settle_references(context, document, *document.root(), Conditional::kRefuse);
    written = request.method == "POST" ? create(context, type, *document.root(),
                                                header_of(request.headers, "If-None-Exist"))
                                       : update(context, type, place, *document.root(), if_match);
  }
  commit();
  ++counts_["written:" + request.method];
  Response response;
  response.status = written.status;
  if (written.record == nullptr || written.record->newest().deleted()) {
    return response;
  }
  const Version& version = written.record->newest();
  describe(context, *written.record, version, true, response);
  if (prefer.find("return=minimal") != std::string_view::npos) {
    return response;
  }
  response.headers.emplace_back("Content-Type", "application/fhir+json");
  response.body = prefer.find("return=OperationOutcome") != std::string_view::npos
                      ? engine::fhir::to_operation_outcome({})
                      : version.text;
  return response;
}

}  // namespace sandbox::record_server

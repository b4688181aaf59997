#pragma once
// The engine's HTTP interface: a table of routes. Errors are OperationOutcomes everywhere.
// docs/api.md and /openapi.json say what each route takes and gives.

#include <functional>
#include <string>
#include <vector>

#include "engine/delivery/target_desk.h"
#include "engine/intake/intake.h"
#include "engine/journal/journal.h"
#include "engine/journal/search_key.h"
#include "engine/web/events.h"
#include "engine/web/http_message.h"
#include "engine/web/http_server.h"
#include "engine/web/metrics.h"

namespace engine::web {

// Texts that the core generates.
struct ModelTexts {
  std::string schema;        // JSON Schema of the session document
  std::string model;         // its StructureDefinition
  std::string plausibility;  // the table
};

// The mapping sets of the engine. approve() and roll_back() answer with what translations are made
// with from now on, as it is journalled.
struct MappingControl {
  std::function<std::string()> status;  // JSON
  std::function<base::Result<std::string>(std::string_view set, std::string_view actor,
                                          std::string_view why)>
      approve;
  std::function<base::Result<std::string>(std::string_view actor, std::string_view why)> roll_back;
};

// What proves the journal. Each reads it from end to end and answers on any thread, with JSON or an
// error; kConflict when one of them runs already.
struct AuditControl {
  using Done = std::function<void(base::Result<std::string>)>;
  // That a record lies in the signed tree: {"position","record","leaf","path","treeHead"}.
  std::function<void(journal::Position, Done)> prove;
  // That the whole journal is sound: {"sound","records",...,"faults","remarks"}.
  std::function<void(Done)> verify;
  // That every bundle can be made again: {"translations","same","otherSets","faults"}.
  std::function<void(const std::string& since, const std::string& until, Done)> replay;
};

class Api {
 public:
  struct World {
    journal::Journal& journal;
    intake::Intake& intake;
    Events& events;
    Metrics& metrics;
    ModelTexts texts;
    delivery::TargetDesk& desk;
    // After a person moved something on.
    std::function<void()> moved;
    std::function<bool()> stopping;
    MappingControl mapping;
    const journal::SearchKey& search_key;
    std::function<std::string()> now;  // a FHIR instant
    // The site's ward list as JSON. Errors: kNotFound when the site has none, others when its file
    // is not usable just now.
    std::function<base::Result<std::string>()> ward;
    // Asks a record server what it can do, and answers with a report as JSON, on any thread.
    // Errors: kNotFound, kConflict (one is being asked), kPeer (no record server answers).
    std::function<void(const std::string& target,
                       std::function<void(base::Result<std::string>)> answer)>
        preflight;
    AuditControl audit;
  };
  explicit Api(World world) : world_(std::move(world)) {}
  void handle(Request request, Answer answer);

  // "GET /sessions/{id}" for every route, for the tests of /openapi.json.
  static std::vector<std::string> routes();

 private:
  struct Route;
  static const std::vector<Route>& table();
  using Segments = std::vector<std::string>;

  void post_session(Request& request, const Segments& at, const Answer& answer);
  void post_revision(Request& request, const Segments& at, const Answer& answer);
  void post_steer(Request& request, const Segments& at, const Answer& answer);
  void get_targets(Request& request, const Segments& at, const Answer& answer);
  void post_target(Request& request, const Segments& at, const Answer& answer);
  void get_mapping(Request& request, const Segments& at, const Answer& answer);
  void post_mapping(Request& request, const Segments& at, const Answer& answer);
  void get_session(Request& request, const Segments& at, const Answer& answer);
  void get_outcome(Request& request, const Segments& at, const Answer& answer);
  void get_document(Request& request, const Segments& at, const Answer& answer);
  void get_ward(Request& request, const Segments& at, const Answer& answer);
  void post_history(Request& request, const Segments& at, const Answer& answer);
  void post_traffic(Request& request, const Segments& at, const Answer& answer);
  void get_message(Request& request, const Segments& at, const Answer& answer);
  void post_log(Request& request, const Segments& at, const Answer& answer);
  void post_proof(Request& request, const Segments& at, const Answer& answer);
  void post_verify(Request& request, const Segments& at, const Answer& answer);
  void post_replay(Request& request, const Segments& at, const Answer& answer);
  void post_preflight(Request& request, const Segments& at, const Answer& answer);
  void get_traffic(Request& request, const Segments& at, const Answer& answer);
  void get_events(Request& request, const Segments& at, const Answer& answer);
  void get_metrics(Request& request, const Segments& at, const Answer& answer);
  void get_ready(Request& request, const Segments& at, const Answer& answer);
  void get_text(Request& request, const Segments& at, const Answer& answer);
  void get_page(Request& request, const Segments& at, const Answer& answer);
  void take_in(Request& request, std::string session, const Answer& answer);
  // What a read of patients' data costs: `response` goes out after the journal has noted who read
  // what. `record`: kind, time and actor are filled in.
  void answer_noted(const Request& request, journal::Record record, Response response,
                    const Answer& answer);

  World world_;
};

// An OperationOutcome of one error with a status.
Response problem(int status, std::string code, std::string text);
// The answer to an error of the shell.
Response from_error(const base::Error& error);

}  // namespace engine::web

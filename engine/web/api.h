#pragma once
// The engine's HTTP interface: a table of routes. Errors are OperationOutcomes everywhere.
// docs/api.md and /openapi.json say what each route takes and gives.

#include <functional>
#include <memory>
#include <optional>
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
#include "engine/web/problem.h"
#include "engine/web/sheets.h"
#include "engine/web/try_out_control.h"
#include "engine/web/ward_reads.h"
#include "engine/web/who_may.h"

namespace engine::web {

// Texts that the core generates.
struct ModelTexts {
  std::string schema;        // JSON Schema of the session document
  std::string model;         // its StructureDefinition
  std::string plausibility;  // the table
};

// What is in force otherwise now.
struct MappingChange {
  std::string what;  // for the log
  std::string text;
  std::string target;     // whose own sets; empty: the engine's
  std::string made_with;  // of translations from now on, as it is journalled
};
// The mapping sets of the engine and of targets that have their own.
struct MappingControl {
  std::function<std::string()> status;  // JSON
  std::function<base::Result<MappingChange>(std::string_view set, std::string_view target,
                                            std::string_view actor, std::string_view why)>
      approve;
  std::function<base::Result<MappingChange>(std::string_view target, std::string_view actor,
                                            std::string_view why)>
      roll_back;
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
    Sheets& sheets;
    TryOutControl try_out;
    people::Gate* gate = nullptr;  // without it everybody may everything
    // Where what is read out of the journal is answered, so that a journal that does not answer
    // holds up nothing else; null: at once. Stopped before the Api goes.
    intake::Workers* readers = nullptr;
  };
  explicit Api(World world) : world_(std::move(world)), who_may_(world_.gate) {}
  void handle(Request request, Answer answer);
  // Refuses by a request's head what handle() would refuse, before a stranger's body is read.
  std::optional<Response> screen(const Request& head) const;
  // How large the body of a request with this head may be: a stranger's is short.
  static std::size_t body_max(const Request& head);

  // "GET /sessions/{id}" for every route, for the tests of /openapi.json.
  static std::vector<std::string> routes();

 private:
  struct Route;
  static const std::vector<Route>& table();
  using Segments = std::vector<std::string>;
  struct Found {
    Segments at;
    const Route* route = nullptr;
    bool path_known = false;  // by another method
  };
  static Found find(const Request& request);
  static bool reads(const Route& route);
  static people::Right right_of(const Route& route, const Request& request);

  void post_sign_in(Request& request, const Segments& at, const Answer& answer);
  void post_sign_out(Request& request, const Segments& at, const Answer& answer);
  void get_me(Request& request, const Segments& at, const Answer& answer);
  void post_session(Request& request, const Segments& at, const Answer& answer);
  void post_revision(Request& request, const Segments& at, const Answer& answer);
  void post_steer(Request& request, const Segments& at, const Answer& answer);
  void post_move(Request& request, const Segments& at, const Answer& answer);
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
  void get_mapping_files(Request& request, const Segments& at, const Answer& answer);
  void post_try_out(Request& request, const Segments& at, const Answer& answer);
  void get_traffic(Request& request, const Segments& at, const Answer& answer);
  void post_sheets(Request& request, const Segments& at, const Answer& answer);
  void post_sheet_plan(Request& request, const Segments& at, const Answer& answer);
  void post_sheet_records(Request& request, const Segments& at, const Answer& answer);
  void get_events(Request& request, const Segments& at, const Answer& answer);
  void get_metrics(Request& request, const Segments& at, const Answer& answer);
  void get_ready(Request& request, const Segments& at, const Answer& answer);
  void get_text(Request& request, const Segments& at, const Answer& answer);
  void get_page(Request& request, const Segments& at, const Answer& answer);
  void wrong_link(const Request& request, const Answer& answer);
  void take_in(Request& request, std::string session, const Answer& answer);
  // The record of a reading: kind and actor are filled in, and why they read put before its own
  // why.
  static journal::Record as_read(const Request& request, journal::Record record);
  // What a read of patients' data costs: `response` goes out after the journal has noted who read
  // what: as_read() of `record`. `noted`: called before the answer, when it is written.
  void answer_noted(const Request& request, journal::Record record, Response response,
                    const Answer& answer, std::function<void()> noted = {});
  // Several of them; none is answered at once.
  void answer_noted(const Request& request, std::vector<journal::Record> records, Response response,
                    const Answer& answer);

  World world_;
  WhoMay who_may_;
  std::shared_ptr<WardReads> ward_reads_ = std::make_shared<WardReads>();
  WrongLinks wrong_links_;
};

}  // namespace engine::web

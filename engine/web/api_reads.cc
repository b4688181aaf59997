// The routes that the pages read from: their own files, the ward list, a session's document, a
// patient's sessions.

#include <algorithm>
#include <utility>

#include "engine/base/limits.h"
#include "engine/json/document.h"
#include "engine/web/api.h"
#include "engine/web/page_files.h"
#include "engine/web/session_view.h"

namespace engine::web {
namespace {

constexpr const char* kJson = "application/json";

// True when the client takes gzip (RFC 9110, 12.5.3). What it says about quality is left aside but
// for a plain refusal.
bool takes_gzip(const Request& request) {
  const std::string_view given = request.header("accept-encoding");
  const std::size_t at = given.find("gzip");
  return at != std::string_view::npos && given.substr(at, 8) != "gzip;q=0";
}

struct PatientKey {
  std::string system;
  std::string value;
};

base::Result<PatientKey> read_patient(const std::string& body) {
  static const json::NameTable names;
  json::Document document(names);
  if (!document.parse(body).has_value() || !document.root()->is_object() ||
      document.root()->string_at("system").empty() || document.root()->string_at("value").empty()) {
    return base::Error(base::ErrorCode::kInvalid,
                       "send the patient's identifier: {\"system\": \"...\", \"value\": \"...\"}");
  }
  return PatientKey{std::string(document.root()->string_at("system")),
                    std::string(document.root()->string_at("value"))};
}

std::string reader_of(const Request& request) {
  return request.caller.empty() ? "address " + request.peer : request.caller;
}

}  // namespace

journal::Record Api::as_read(const Request& request, journal::Record record) {
  record.kind = journal::Kind::kRead;
  record.actor = reader_of(request);
  record.why = request.why.empty() ? record.why : request.why + " (" + record.why + ")";
  return record;
}

void Api::answer_noted(const Request& request, journal::Record record, Response response,
                       const Answer& answer, std::function<void()> noted) {
  const bool taken =
      world_.journal.submit(journal::Change(as_read(request, std::move(record))),
                            [answer, response = std::move(response), noted = std::move(noted)](
                                const base::Result<journal::Outcome>& outcome) {
                              if (outcome && noted) {
                                noted();
                              }
                              answer(outcome ? response : from_error(outcome.error()));
                            });
  if (!taken) {
    answer(problem(503, "transient", "the engine has as much in hand as it can"));
  }
}

void Api::get_page(Request& request, const Segments& at, const Answer& answer) {
  const PageFile* file = page_file(at[0]);
  if (file == nullptr) {
    answer(problem(404, "not-found", "there is nothing at this address"));
    return;
  }
  const bool packed = !file->gzip.empty() && takes_gzip(request);
  Response response(200, std::string(file->content_type),
                    std::string(packed ? file->gzip : file->bytes));
  response.set("Vary", "Accept-Encoding");
  if (packed) {
    response.set("Content-Encoding", "gzip");
  }
  answer(std::move(response));
}

void Api::get_ward(Request& request, const Segments&, const Answer& answer) {
  auto ward = world_.ward();
  if (!ward) {
    answer(ward.error().code == base::ErrorCode::kNotFound
               ? problem(404, "not-found", ward.error().detail)
               : problem(503, "exception", ward.error().text()));
    return;
  }
  std::string reader = reader_of(request);
  Response response(200, kJson, *ward);
  if (ward_reads_->noted(reader, *ward)) {
    answer(std::move(response));
    return;
  }
  journal::Record record;
  record.why = "the ward list";
  answer_noted(request, std::move(record), std::move(response), answer,
               [reads = ward_reads_, reader = std::move(reader), list = std::move(*ward)] {
                 reads->note(reader, list);
               });
}

// The latest revision, byte for byte as it was sent.
void Api::get_document(Request& request, const Segments& at, const Answer& answer) {
  const auto known = world_.journal.store().acceptances(at[1]);
  if (!known || known->empty()) {
    answer(known ? problem(404, "not-found", "there is no such session")
                 : from_error(known.error()));
    return;
  }
  const auto latest =
      std::max_element(known->begin(), known->end(),
                       [](const auto& a, const auto& b) { return a.revision < b.revision; });
  auto text = world_.journal.store().part(latest->position, "document");
  if (!text) {
    answer(from_error(text.error()));
    return;
  }
  journal::Record record;
  record.session = at[1];
  record.revision = latest->revision;
  record.why = "document of a session";
  answer_noted(request, std::move(record), Response(200, kJson, std::move(*text)), answer);
}

// A patient is named in a body and never in an address, which proxies and browsers write down.
void Api::post_history(Request& request, const Segments&, const Answer& answer) {
  const auto patient = read_patient(request.body);
  if (!patient) {
    answer(problem(400, "structure", patient.error().detail));
    return;
  }
  const std::string hidden = world_.search_key.hide(patient->system + "|" + patient->value);
  auto view = history_view(world_.journal.store(), hidden);
  if (!view) {
    answer(from_error(view.error()));
    return;
  }
  journal::Record record;
  record.patient = hidden;
  record.why = "latest sessions of a patient";
  answer_noted(request, std::move(record), Response(200, kJson, std::move(*view)), answer);
}

}  // namespace engine::web

// The HTTP edge of the engine, and what it is given to work with.

#include <string>
#include <string_view>
#include <utility>

#include "engine/base/limits.h"
#include "engine/cli/descriptors.h"
#include "engine/cli/engine_parts.h"
#include "engine/cli/journal_proof.h"
#include "engine/cli/preflight_report.h"
#include "engine/cli/replay_report.h"
#include "engine/therapy/ids.h"
#include "engine/web/request_head.h"

namespace engine::cli {

web::MappingControl Engine::mapping_control() {
  const auto told = [](base::Result<web::MappingChange> change) {
    if (change) {
      say(change->what, change->text);
    }
    return change;
  };
  return {
      [this] { return sets_->status(); },
      [this, told](std::string_view set, std::string_view target, std::string_view actor,
                   std::string_view why) { return told(sets_->approve(set, target, actor, why)); },
      [this, told](std::string_view target, std::string_view actor, std::string_view why) {
        return told(sets_->roll_back(target, actor, why));
      }};
}

void Engine::preflight(const std::string& target, SideWork::Done done) {
  for (const TargetConfig& one : config_.targets) {
    if (one.name == target) {
      asking_.run(
          [one]() -> base::Result<std::string> {
            auto rows = ask_abilities(one);
            if (!rows) {
              return std::move(rows).error();
            }
            return report_of(one.name, *rows);
          },
          std::move(done));
      return;
    }
  }
  done(base::Error(base::ErrorCode::kNotFound, "there is no such target"));
}

// Each reads the journal from end to end, so one at a time, and never where sessions are taken in.
web::AuditControl Engine::audit_control() {
  const ProofFiles files{files_, {}, {}};
  return {
      [this, files](journal::Position position, SideWork::Done done) {
        proving_.run([this, files, position] { return record_proof(*store_, files, position); },
                     std::move(done));
      },
      [this, files](SideWork::Done done) {
        proving_.run([this, files] { return soundness_report(*store_, files); }, std::move(done));
      },
      [this](const std::string& since, const std::string& until, SideWork::Done done) {
        proving_.run(
            [this, range = replay::Range{since, until}] {
              return replay_report(*store_, *core_->pinned(), KeptSets::folder_of(files_), range);
            },
            std::move(done));
      }};
}

// On the main thread.
void Engine::look_at_certificate() {
  const auto before = certificate_.tls();
  for (const CertificateFiles::Event& event : certificate_.look(clock_.now())) {
    say(event.what, event.text);
  }
  if (certificate_.tls() != before) {
    server_->renew(certificate_.tls());
  }
}

base::Result<void> Engine::open_gate() {
  if (config_.people.empty()) {
    return {};
  }
  auto people = people_.load();
  if (!people) {
    return std::move(people).error();
  }
  gate_ = std::make_unique<people::Gate>(std::move(*people), clock_, random_);
  return {};
}

// On the main thread. A file that cannot be used leaves those who may as they were.
void Engine::look_at_people() {
  auto people = gate_ ? people_.look() : std::nullopt;
  if (!people) {
    return;
  }
  if (!*people) {
    say("people-refused", "what=\"" + people->error().text() + "\"");
    return;
  }
  const std::size_t entries = (*people)->entries().size();
  gate_->renew(std::move(**people));
  say("people-renewed", "entries=" + std::to_string(entries));
}

base::Result<void> Engine::open_web() {
  ward_ = std::make_unique<WardFile>(
      config_.ward, [this](std::string_view document) { return core_->admit(document); });
  if (const auto ward = ward_->text(); !ward && !config_.ward.empty()) {
    return base::Error(ward.error().code, "the ward list: " + ward.error().detail,
                       ward.error().where);
  }
  events_ = std::make_unique<web::Events>(*store_);
  const therapy::Translator& translator = core_->translator();
  web::ModelTexts texts{translator.json_schema(), translator.logical_model(),
                        translator.plausibility_table()};
  try_out_ =
      std::make_unique<TryOutDesk>(TryOutDesk::World{*core_, *store_, clock_, sets_->names()});
  sheets_ = std::make_unique<web::Sheets>(
      web::Sheets::World{*journal_, *search_key_, clock_, random_, [this] { return ward_->text(); },
                         [](std::string_view system, std::string_view value) {
                           return base::to_string(therapy::session_space(system, value));
                         }});
  api_ = std::make_unique<web::Api>(web::Api::World{
      *journal_, *intake_, *events_, metrics_, std::move(texts), *desk_,
      [this] {
        intake_->sweep();
        for (const auto& courier : couriers_) {
          courier->wake();
        }
      },
      [this] { return stopping_.load(); }, mapping_control(), *search_key_,
      [this] { return base::to_instant(clock_.now()); }, [this] { return ward_->text(); },
      [this](const std::string& target, SideWork::Done done) {
        preflight(target, std::move(done));
      },
      audit_control(), *sheets_, try_out_->control(), gate_.get(), readers_.get()});
  const auto listen = parse_listen(config_.listen);
  web::HttpServer::Config config;
  config.address = listen->address;
  config.port = listen->port;
  config.tls = certificate_.tls();
  const std::size_t descriptors = raise_descriptors();
  config.connections_max = connections_with(descriptors);
  if (config.connections_max < base::limits::kConnectionsMax) {
    say("few-descriptors", "limit=" + std::to_string(descriptors) +
                               " connections=" + std::to_string(config.connections_max));
  }
  config.refuse = [](int status, std::string_view text) {
    const char* const code = status == 413   ? "too-long"
                             : status == 421 ? "forbidden"
                             : status == 503 ? "transient"
                                             : "structure";
    return web::problem(status, code, std::string(text));
  };
  if (auto names = hosts_of(config_); !names.empty()) {
    config.is_host = [names = std::move(names)](std::string_view host) {
      return web::is_named(host, names);
    };
  }
  if (gate_) {
    config.screen = [this](const web::Request& head) { return api_->screen(head); };
  }
  config.body_max = &web::Api::body_max;
  auto server = web::HttpServer::start(config, [this](web::Request request, web::Answer answer) {
    api_->handle(std::move(request), std::move(answer));
  });
  if (!server) {
    return std::move(server).error();
  }
  server_ = std::move(*server);
  return {};
}

}  // namespace engine::cli

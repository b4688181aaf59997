#pragma once
// The engine at work, in two files of code: running_engine.cc (journal, record servers, start, end)
// and engine_web.cc (the HTTP edge and what it is given to work with). For these only.

#include <atomic>
#include <memory>
#include <set>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/cli/body_retention.h"
#include "engine/cli/certificate_files.h"
#include "engine/cli/end_watch.h"
#include "engine/cli/files.h"
#include "engine/cli/head_posts.h"
#include "engine/cli/mapping_sets.h"
#include "engine/cli/outcome_notices.h"
#include "engine/cli/people_file.h"
#include "engine/cli/serve_config.h"
#include "engine/cli/side_work.h"
#include "engine/cli/signal_watch.h"
#include "engine/cli/system_seams.h"
#include "engine/cli/target_sets.h"
#include "engine/cli/try_out_desk.h"
#include "engine/cli/ward_file.h"
#include "engine/delivery/asio_loop.h"
#include "engine/delivery/courier.h"
#include "engine/delivery/peer.h"
#include "engine/delivery/target_desk.h"
#include "engine/intake/intake.h"
#include "engine/journal/failure.h"
#include "engine/journal/head_keeper.h"
#include "engine/journal/journal.h"
#include "engine/journal/log_marks.h"
#include "engine/journal/search_key.h"
#include "engine/people/gate.h"
#include "engine/web/api.h"
#include "engine/web/sheets.h"

namespace engine::cli {

// One line of the program's log.
void say(const std::string& event, const std::string& rest);

class Engine {
 public:
  explicit Engine(ServeConfig config)
      : config_(std::move(config)),
        files_(files_of(config_.journal, config_.files)),
        certificate_(config_.tls_certificate, config_.tls_key),
        people_(config_.people) {}
  base::Result<void> start();
  void run_until_signal(SignalWatch& signals);
  // From now on there is a last time to end.
  void watch_end();

 private:
  base::Result<void> open_journal();
  base::Result<void> catch_up_targets();
  base::Result<void> write_start();
  bool write_stop();
  base::Result<void> open_targets();
  base::Result<void> open_notices();
  base::Result<void> open_web();
  void note_look(const std::string& target, const base::Error* why);
  void tick(int count);
  void look_at_fellows();
  void look_for_cut();
  void hear();
  web::MappingControl mapping_control();
  web::AuditControl audit_control();
  void preflight(const std::string& target, SideWork::Done done);
  void look_at_mappings();
  void look_at_certificate();
  base::Result<void> open_gate();
  void look_at_people();
  base::Result<void> open_heads();
  void sign_head();
  void tell_of_heads();
  void drain();

  std::atomic<bool> closed_{false};      // all is written down
  std::unique_ptr<EndWatch> end_watch_;  // first, so that it ends last
  ServeConfig config_;
  const std::string files_;  // prefix of those that go with the journal
  CertificateFiles certificate_;
  PeopleFile people_;
  SystemClock clock_;
  SystemRandom random_;
  std::unique_ptr<TargetSets> sets_;
  MappingSets* core_ = nullptr;                      // the engine's own of them
  std::shared_ptr<const journal::Sealing> sealing_;  // null: bodies are not sealed
  std::unique_ptr<journal::Store> store_;
  std::unique_ptr<journal::SearchKey> search_key_;
  web::Metrics metrics_;
  journal::FailureLog failure_log_;  // of the journal's thread
  std::string head_key_;             // by which the key of the heads is known
  std::unique_ptr<journal::HeadKeeper> heads_;
  std::unique_ptr<HeadPosts> head_posts_;     // none when every anchor is a file
  std::vector<std::string> unwritten_heads_;  // why, of the files that did not take the last one
  bool journal_altered_ = false;              // likewise
  std::string heads_failing_;                 // as the log was told
  std::unique_ptr<journal::Journal> journal_;
  std::unique_ptr<BodyRetention> retention_;  // null: bodies are kept
  std::unique_ptr<delivery::AsioLoop> loop_;
  std::vector<std::unique_ptr<delivery::Peer>> peers_;
  std::vector<std::shared_ptr<delivery::Courier>> couriers_;
  std::set<std::string>
      unread_;  // on the loop: targets of which the journal does not say what is due
  journal::FailureLog unread_log_{"queue-unread", "queue-read"};  // likewise
  std::unique_ptr<delivery::TargetDesk> desk_;
  std::unique_ptr<OutcomeNotices> notices_;  // none when nobody is to be told
  std::unique_ptr<intake::WorkPool> workers_;
  std::unique_ptr<intake::WorkPool> translators_;
  std::unique_ptr<intake::WorkPool> readers_;  // answer what is read out of the journal
  std::unique_ptr<intake::Intake> intake_;
  std::unique_ptr<web::Events> events_;
  std::unique_ptr<WardFile> ward_;
  std::unique_ptr<people::Gate> gate_;  // null: everybody may
  std::unique_ptr<web::Sheets> sheets_;
  std::unique_ptr<web::Api> api_;
  std::unique_ptr<web::HttpServer> server_;
  // Last, so that they have ended before what they answer to goes.
  SideWork asking_;   // of record servers
  SideWork proving_;  // of the journal
  std::unique_ptr<TryOutDesk> try_out_;
  std::atomic<bool> stopping_{false};
  journal::LogMarks marks_;  // on the loop
  std::string unheard_;      // on the loop, as last told
  bool may_send_ = true;
};

}  // namespace engine::cli

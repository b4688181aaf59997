#include "engine/cli/running_engine.h"

#include <algorithm>
#include <array>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <future>
#include <mutex>
#include <thread>
#include <utility>
#include <vector>

#include <unistd.h>

#include "engine/base/limits.h"
#include "engine/cli/engine_parts.h"
#include "engine/cli/files.h"
#include "engine/cli/head_secret.h"
#include "engine/cli/journal_keys.h"
#include "engine/cli/shown_text.h"
#include "engine/cli/signal_watch.h"
#include "engine/cli/target_peer.h"
#include "engine/delivery/away.h"
#include "engine/delivery/fitting_peer.h"
#include "engine/delivery/gated_peer.h"
#include "engine/delivery/http_peer.h"
#include "engine/delivery/take_over.h"
#include "engine/journal/open_store.h"
#include "engine/journal/start_marks.h"

namespace engine::cli {
namespace {

using journal::Journal;

// A sender waits for its receipt; nobody waits for the translation that follows. As long as there
// is something of the first to do, the second has a tenth of the processor.
constexpr int kTranslatorsNice = 10;

// Among the engines that share a journal.
std::string engine_name(const ServeConfig& config) {
  std::array<char, 256> host{};
  if (!config.name.empty() || ::gethostname(host.data(), host.size() - 1) != 0) {
    return config.name;
  }
  return host.data();
}

// When the newest record was written; empty when there is none. Behind damaged ones an older time
// does: it makes the clock less believed, not more.
base::Result<std::string> newest_time(const journal::Store& store) {
  const auto size = store.size();
  if (!size) {
    return size.error();
  }
  for (journal::Position position = *size; position > 0; --position) {
    auto head = store.head(position);
    if (head) {
      return std::move(head->record.time);
    }
    if (head.error().code != base::ErrorCode::kCorrupt &&
        head.error().code != base::ErrorCode::kNotFound) {
      return head.error();
    }
  }
  return std::string();
}

}  // namespace

void say(const std::string& event, const std::string& rest) {
  // A line, whatever names of files and words of databases stand in it.
  std::fprintf(stderr, "event=%s %s\n", event.c_str(), shown_text(rest).c_str());
}

base::Result<void> Engine::open_journal() {
  auto store = journal::open_store(
      {config_.journal, journal::OpenMode::kEngine, engine_name(config_), sealing_});
  if (!store) {
    return std::move(store).error();
  }
  store_ = std::move(*store);
  auto newest =
      config_.retention.empty() ? base::Result<std::string>(std::string()) : newest_time(*store_);
  if (!newest) {
    return std::move(newest).error();
  }
  std::array<std::uint8_t, 32> fresh{};
  random_.fill(fresh);
  const std::string key_file = config_.key_file.empty() ? files_ + ".key" : config_.key_file;
  auto key = journal::open_search_key(*store_, key_file, std::string(fresh.begin(), fresh.end()));
  if (!key) {
    return std::move(key).error();
  }
  search_key_ = std::make_unique<journal::SearchKey>(std::move(*key));
  journal_ = std::make_unique<Journal>(*store_, clock_);
  loop_ = std::make_unique<delivery::AsioLoop>();
  desk_ = std::make_unique<delivery::TargetDesk>(*journal_, *loop_);
  journal_->add_listener([this](const std::vector<journal::Outcome>& outcomes) {
    metrics_.wrote(outcomes);
    desk_->wrote(outcomes);
  });
  journal_->on_failure([this](const base::Error* why) {
    const auto now = clock_.steady();
    if (const auto line =
            why != nullptr ? failure_log_.failed(*why, now) : failure_log_.well(now)) {
      say(line->event, line->rest);
    }
  });
  journal_->on_damage([this](const base::Error& what) {
    if (const auto line = failure_log_.damaged(what, clock_.steady())) {
      say(line->event, line->rest);
    }
  });
  if (const auto kept = journal::parse_retention(config_.retention)) {
    retention_ =
        std::make_unique<BodyRetention>(*journal_, clock_, *kept, files_, std::move(*newest));
  }
  return {};
}

base::Result<void> Engine::write_start() {
  // Before the start: one that is broken off is begun again by the next.
  if (auto caught_up = catch_up_targets(); !caught_up) {
    return caught_up;
  }
  journal::Change started;
  started.record.kind = journal::Kind::kStarted;
  started.record.made_with = intake::made_with(core_->provenance(), {});
  started.record.actor = "chartferry " CHARTFERRY_VERSION;
  for (const TargetConfig& target : config_.targets) {
    started.record.targets += (started.record.targets.empty() ? "" : ",") + target.name;
  }
  if (const std::string name = store_->engine(); !name.empty()) {
    started.record.reason = journal::kSharedStart;
    started.record.actor += " " + name;
  } else if (const auto covered = heads_->covered(); covered) {
    started.record.through = *covered;  // before anything is signed over the rest
  }
  auto master = store_->master();
  if (!master) {
    return std::move(master).error();
  }
  started.record.content =
      journal::print({search_key_->hide(journal::kSearchKeyMark), std::move(*master), head_key_});
  auto written = journal_->write(std::move(started));
  return written ? base::Result<void>() : std::move(written).error();
}

bool Engine::write_stop() {
  journal::Change stopped;
  stopped.record.kind = journal::Kind::kStopped;
  return journal_->write(std::move(stopped)).has_value();
}

// What came for a target while the configuration did not name it; and what waits for those that it
// does not name.
base::Result<void> Engine::catch_up_targets() {
  std::vector<std::string> names;
  for (const TargetConfig& target : config_.targets) {
    names.push_back(target.name);
    const auto since = delivery::away_since(*store_, target.name, clock_);
    if (!since) {
      return since.error();
    }
    if (!*since) {
      continue;
    }
    const auto legs =
        delivery::catch_up(*store_, clock_, target.name, **since, "chartferry " CHARTFERRY_VERSION);
    if (!legs) {
      return legs.error();
    }
    say("target-returned", "name=" + target.name + " since=" + std::to_string(**since) +
                               " revisions=" + std::to_string(*legs));
  }
  const auto counts = store_->open_counts();
  if (!counts) {
    return counts.error();
  }
  for (const delivery::GoneTarget& gone : delivery::gone_targets(*counts, names)) {
    say("target-gone", "name=" + gone.name + " waiting=" + std::to_string(gone.waiting) +
                           " held=" + std::to_string(gone.held));
  }
  return {};
}

// On the loop. Where the journal does not say what is to be sent nothing is, and nobody is told by
// an error of any request.
void Engine::note_look(const std::string& target, const base::Error* why) {
  const auto now = clock_.steady();
  if (why != nullptr) {
    unread_.insert(target);
    if (const auto line = unread_log_.failed(*why, now)) {
      say(line->event, "target=" + target + " " + line->rest);
    }
  } else if (unread_.erase(target) > 0 && unread_.empty()) {
    if (const auto line = unread_log_.well(now)) {
      say(line->event, line->rest);
    }
  }
  metrics_.looked(why != nullptr, !unread_.empty());
}

base::Result<void> Engine::open_targets() {
  std::vector<delivery::TargetDesk::Facts> facts;
  for (const TargetConfig& target : config_.targets) {
    auto peer_config = peer_config_of(target);
    if (!peer_config) {
      return std::move(peer_config).error();
    }
    if (peer_config->url.in_clear()) {
      say("target-in-clear", "name=" + target.name + " host=" + peer_config->url.authority());
    }
    auto peer = delivery::make_http_peer(*loop_, std::move(*peer_config));
    if (!peer) {
      return std::move(peer).error();
    }
    const auto may_send = [this] { return store_->may_send(); };
    auto fitting =
        delivery::make_fitting_peer(delivery::make_gated_peer(std::move(*peer), *loop_, may_send));
    facts.push_back(
        {target.name, [server = fitting.get()] { return server->mode(); }, target.limits});
    peers_.push_back(std::move(fitting));
    const auto looked = [this, name = target.name](const base::Error* why) {
      note_look(name, why);
    };
    const delivery::Courier::World world{*journal_, *peers_.back(), *loop_, clock_,
                                         random_,   may_send,       looked};
    couriers_.push_back(std::make_shared<delivery::Courier>(target.name, world, target.limits));
  }
  if (auto opened = desk_->open(std::move(facts), couriers_); !opened) {
    return opened;
  }
  const std::size_t threads = std::max<std::size_t>(1, std::thread::hardware_concurrency());
  workers_ = std::make_unique<intake::WorkPool>(threads);
  translators_ = std::make_unique<intake::WorkPool>(threads, kTranslatorsNice);
  readers_ = std::make_unique<intake::WorkPool>(1);
  const intake::Intake::World world{*journal_,    *workers_, *translators_,
                                    *search_key_, *core_,    config_.backlog_max};
  intake_ =
      std::make_unique<intake::Intake>(world, sets_->targets(), [this](const std::string& target) {
        for (const auto& courier : couriers_) {
          if (courier->target() == target) {
            courier->wake();
          }
        }
      });
  return {};
}

base::Result<void> Engine::open_notices() {
  if (config_.notices.url.empty()) {
    return {};
  }
  auto opened =
      OutcomeNotices::open(config_.notices, {*journal_, *loop_, clock_, random_, metrics_});
  if (!opened) {
    return std::move(opened).error();
  }
  notices_ = std::move(*opened);
  return {};
}

// On the main thread, which has nothing else to do: compiling a set takes a while.
void Engine::look_at_mappings() {
  for (const auto& sets : sets_->all()) {
    const std::optional<MappingSets::Event> event = sets->look();
    if (!event) {
      continue;
    }
    say(event->what, text_of(*sets, *event));
    if (!event->in_force.empty()) {
      journal::Change change;
      change.record.kind = journal::Kind::kApproved;
      change.record.actor = "chartferry " CHARTFERRY_VERSION;
      change.record.why = "the site's files changed, compile and pass their samples";
      change.record.target = sets->target();
      change.record.made_with = intake::made_with(sets->provenance(), {});
      if (!journal_->write(std::move(change))) {
        say("not-recorded", "record=approved");
      }
    }
  }
}

// The key is made at the first start.
base::Result<void> Engine::open_heads() {
  journal::HeadKeeper::Files files;
  files.heads = files_ + ".heads";
  std::vector<std::string> addresses;
  for (const std::string& anchor : config_.anchors) {
    (is_address(anchor) ? addresses : files.anchors).push_back(anchor);
  }
  std::vector<std::string> all{files.heads};
  all.insert(all.end(), files.anchors.begin(), files.anchors.end());
  for (const std::string& file : all) {
    if (auto checked = journal::check_heads_file(file); !checked) {
      return checked;
    }
  }
  // Engines that share a journal may share an anchor, and each signs with its own key.
  if (!store_->engine().empty()) {
    all.resize(1);
  }
  std::array<std::uint8_t, 32> fresh{};
  random_.fill(fresh);
  auto secret = open_head_secret(files_, all, std::string(fresh.begin(), fresh.end()));
  const auto size = store_->size();
  if (!secret || !size) {
    return secret ? size.error() : std::move(secret).error();
  }
  files.key_is_old = !secret->is_new;
  head_key_ = secret->signer.key();
  if (secret->is_new && *size > 0) {
    say("head-key-new", "key=" + head_key_);
  }
  if (!addresses.empty()) {
    auto posts = HeadPosts::open(addresses);
    if (!posts) {
      return std::move(posts).error();
    }
    head_posts_ = std::move(*posts);
  }
  heads_ = std::make_unique<journal::HeadKeeper>(*store_, clock_, std::move(secret->signer), files);
  return {};
}

// On the main thread.
void Engine::sign_head() {
  const auto kept = heads_->keep();
  const bool altered = !kept && kept.error().code == base::ErrorCode::kCorrupt;
  if (!kept) {
    unwritten_heads_ = altered ? std::vector<std::string>() : std::vector{kept.error().text()};
    if (altered) {
      say("journal-altered", "what=\"" + kept.error().text() + "\"");
    }
  } else {
    for (const std::string& damaged : kept->damaged) {
      say("journal-altered", "what=\"" + damaged + "\"");
    }
    if (!kept->uncovered.empty()) {
      say("heads-missing", "what=\"" + kept->uncovered + "\"");
    }
    for (const std::string& file : kept->made_again) {
      say("heads-missing", "what=\"" + file + "\"");
    }
    unwritten_heads_ = kept->unwritten;
    unwritten_heads_.insert(unwritten_heads_.end(), kept->unproved.begin(), kept->unproved.end());
    if (head_posts_ && heads_->newest()) {
      head_posts_->take(*heads_->newest());
    }
  }
  journal_altered_ = altered;
  tell_of_heads();
}

// On the main thread. Once when it begins, when the cause changes, and when it is over.
void Engine::tell_of_heads() {
  std::vector<std::string> causes = unwritten_heads_;
  if (head_posts_) {
    for (std::string& cause : head_posts_->failing()) {
      causes.push_back(std::move(cause));
    }
  }
  std::string text;
  for (const std::string& cause : causes) {
    text += (text.empty() ? "" : "; ") + cause;
  }
  metrics_.heads(journal_altered_, !text.empty());
  if (text != heads_failing_) {
    say(text.empty() ? "heads-written" : "heads-failing",
        text.empty() ? "what=\"every file and address has the newest head again\""
                     : "what=\"" + text + "\"");
    heads_failing_ = text;
  }
}

base::Result<void> Engine::start() {
  if (auto loaded = certificate_.load(); !loaded) {
    return loaded;
  }
  auto sealing = sealing_of(config_.journal_keys);
  if (!sealing) {
    return std::move(sealing).error();
  }
  sealing_ = std::move(*sealing);
  if (auto opened = open_gate(); !opened) {
    return opened;
  }
  auto sets = TargetSets::open(config_, KeptSets::folder_of(files_));
  if (!sets) {
    return std::move(sets).error();
  }
  sets_ = std::move(*sets);
  core_ = &sets_->engine();
  for (auto step : {&Engine::open_journal, &Engine::open_heads, &Engine::open_targets,
                    &Engine::open_notices, &Engine::write_start}) {
    if (auto done = (this->*step)(); !done) {
      return done;
    }
  }
  auto serves = open_web();
  const std::string port = serves ? std::to_string(server_->port()) : std::string();
  if (serves && !config_.port_file.empty()) {
    serves = write_file(config_.port_file, port + "\n");
  }
  if (!serves) {
    static_cast<void>(write_stop());  // it was no crash
    sign_head();
    return serves;
  }
  intake_->sweep();
  store_->on_news([this] { loop_->post([this] { hear(); }); });
  loop_->post([this] { tick(0); });
  say("ready", "port=" + port + " mapping=" + core_->provenance().mapping_set.substr(0, 12) +
                   " profiles=" + core_->provenance().profile_set.substr(0, 12));
  return {};
}

// On the loop: another engine wrote.
void Engine::hear() {
  events_->follow();
  for (const auto& courier : couriers_) {
    courier->wake();
  }
}

// On the loop: whether the engines that share the journal hear of this one, told when it changes.
void Engine::look_at_fellows() {
  std::string unheard = store_->unheard();
  std::replace(unheard.begin(), unheard.end(), '"', '\'');  // it stands between quotes
  if (unheard.empty() != unheard_.empty()) {
    say(unheard.empty() ? "heard-again" : "unheard",
        unheard.empty() ? "" : "what=\"" + unheard + "\"");
  }
  if (const bool may_send = store_->may_send(); may_send != may_send_) {
    may_send_ = may_send;
    say(may_send ? "sends-again" : "sends-nothing",
        may_send ? "" : "what=\"the other engines may be taking over; " + unheard + "\"");
  }
  unheard_ = std::move(unheard);
}

// On the loop: after a fail-over of the database the journal may lack records that were followed.
void Engine::look_for_cut() {
  if (store_->engine().empty()) {
    return;
  }
  const auto same = marks_.look(*store_);
  if (!same || !same->has_value()) {
    return;
  }
  say("journal-cut",
      "same=" + std::to_string(**same) + " what=\"the database lacks what was there\"");
  desk_->read_again();
}

// On the loop: what no event announced, such as what another process wrote into the journal.
void Engine::tick(int count) {
  look_at_fellows();
  look_for_cut();
  events_->follow();
  desk_->follow();
  if (notices_) {
    notices_->look();
  }
  if (count % 4 == 0) {
    for (const auto& courier : couriers_) {
      courier->wake();
    }
    intake_->sweep();
    if (const std::size_t taken = delivery::take_over(*journal_); taken > 0) {
      say("took-over", "legs=" + std::to_string(taken));
    }
  }
  loop_->after(base::limits::kTick / 4, [this, count] { tick(count + 1); });
}

// What waits for a journal or a file that does not answer must not keep the engine from ending.
// Nothing is lost with it that a crash would not lose. On the signals' thread, since the main one
// may be waiting so.
void Engine::watch_end() {
  end_watch_ = std::make_unique<EndWatch>(base::limits::kEndTime, [this] {
    if (!closed_) {
      say("cut-off", "what=\"the journal, or a file of the engine's, does not answer\"");
    }
    std::_Exit(closed_ ? 0 : 1);
  });
}

void Engine::drain() {
  stopping_ = true;
  store_->on_news({});
  events_->close();
  server_->stop(base::limits::kDrainTime);
  readers_->stop();
  std::vector<std::future<void>> idle;
  for (const auto& courier : couriers_) {
    auto promise = std::make_shared<std::promise<void>>();
    idle.push_back(promise->get_future());
    courier->stop([promise] { promise->set_value(); });
  }
  if (notices_) {
    auto promise = std::make_shared<std::promise<void>>();
    idle.push_back(promise->get_future());
    notices_->stop([promise] { promise->set_value(); });
  }
  const auto until = clock_.steady() + base::limits::kDrainTime;
  for (std::future<void>& one : idle) {
    one.wait_until(until);
  }
  // Somebody's map may be at work on something that takes it long.
  const auto pools_until = clock_.steady() + base::limits::kDrainTime;
  const auto left = [&] {
    return std::max(
        std::chrono::milliseconds(0),
        std::chrono::duration_cast<std::chrono::milliseconds>(pools_until - clock_.steady()));
  };
  bool all_ended = try_out_->stop(left());
  all_ended = workers_->stop_within(left()) && all_ended;
  all_ended = translators_->stop_within(left()) && all_ended;
  loop_->stop();
  const bool written = write_stop();
  journal_->stop();
  sign_head();
  if (head_posts_) {
    head_posts_->finish(base::limits::kDrainTime);
    tell_of_heads();
  }
  say("stopped", std::string("journal=") + (written ? "closed" : "failing"));
  closed_ = true;
  // Somebody may be having a long journal proved, or a map run that takes long. Those only read or
  // compute, all else is closed and durable, and whoever stops the engine should not wait for them.
  if (!all_ended || !asking_.wait(base::limits::kDrainTime) ||
      !proving_.wait(std::chrono::milliseconds(0))) {
    std::_Exit(0);
  }
}

void Engine::run_until_signal(SignalWatch& signals) {
  int signal = 0;
  sign_head();
  look_at_certificate();
  auto next_head = clock_.steady() + journal::kHeadPause;
  while (signal != SIGTERM && signal != SIGINT) {
    // SIGHUP asks for what happens by itself: a look at the files.
    signal = signals.wait(base::limits::kMappingLook);
    if (signal == 0 || signal == SIGHUP) {
      look_at_mappings();
      look_at_certificate();
      look_at_people();
    }
    if (retention_) {
      retention_->look();
    }
    if (clock_.steady() >= next_head) {
      sign_head();
      next_head = clock_.steady() + journal::kHeadPause;
    }
    tell_of_heads();
  }
  say("stopping", "signal=" + std::to_string(signal));
  drain();
}

base::Result<void> run_engine(ServeConfig config) {
  std::signal(SIGPIPE, SIG_IGN);
  SignalWatch::block();
  Engine engine(std::move(config));
  SignalWatch signals([&engine] { engine.watch_end(); });
  if (auto started = engine.start(); !started) {
    return started;
  }
  engine.run_until_signal(signals);
  return {};
}

}  // namespace engine::cli

#include "engine/delivery/exchange.h"

#include <algorithm>
#include <array>
#include <chrono>
#include <cstdint>
#include <set>
#include <span>
#include <string_view>
#include <utility>

#include "engine/base/limits.h"
#include "engine/delivery/conflict.h"
#include "engine/delivery/location.h"
#include "engine/delivery/lookup.h"
#include "engine/delivery/message.h"
#include "engine/delivery/never_there.h"
#include "engine/delivery/sent_resources.h"
#include "engine/delivery/unknown_people.h"
#include "engine/fhir/issue.h"

namespace engine::delivery {
namespace {

using Action = Verdict::Action;

// Who is named in one session is a handful; each costs a search.
constexpr std::size_t kPeopleMax = 100;
constexpr std::uint32_t kTriesToResolve = 3;

// Answers behind which a changed or deleted resource may stand. R4 asks for 412; servers also give
// what earlier versions asked for, or what they think of the resource itself.
bool may_be_changed(const Reply& reply, const Verdict& verdict) {
  static constexpr std::array<std::string_view, 5> kReasons = {
      "version-conflict", "conflict", "gone", "unknown-reference", "no-transactions"};
  return reply.fate == Reply::Fate::kAnswered && reply.status >= 400 && reply.status < 500 &&
         std::find(kReasons.begin(), kReasons.end(), verdict.reason) != kReasons.end();
}

class Exchange : public std::enable_shared_from_this<Exchange> {
 public:
  Exchange(ExchangeWorld world, Consignment consignment, std::function<void(Conclusion)> done)
      : world_(std::move(world)),
        consignment_(std::move(consignment)),
        others_in_doubt_(!consignment_.given_up.empty()),
        done_(std::move(done)) {}

  void begin() {
    message_ = make_message(consignment_.bundle, consignment_.known, there_);
    not_written_.assign(message_.sent.size(), false);
    if (!consignment_.in_pieces && consignment_.refused.covers(size())) {
      outcome_.verdict = Verdict(Action::kInPieces, kTooLarge);
      finish(std::move(outcome_));
      return;
    }
    std::vector<Look> looks;
    for (std::size_t i = 0; i < message_.sent.size(); ++i) {
      if (message_.sent[i].way == Way::kVersion) {
        looks.push_back({i, message_.sent[i].known.resource});
      }
    }
    look(Moment::kPlaces, std::move(looks));
  }

 private:
  using Step = void (Exchange::*)(Reply);
  enum class Moment : std::uint8_t { kPlaces, kBefore, kRefused, kLanded };
  struct Look {
    std::size_t sent = 0;  // which of the message
    std::string place;
  };

  void ask(Call call, Step next) {
    world_.peer.call(std::move(call), [self = shared_from_this(), next](Reply reply) {
      if (!self->world_.owner.expired()) {
        ((*self).*next)(std::move(reply));
      }
    });
  }

  std::int64_t civil_ms() const {
    return std::chrono::duration_cast<std::chrono::milliseconds>(
               world_.clock.now().time_since_epoch())
        .count();
  }

  BundleSize size() const { return {message_.body.size(), message_.sent.size()}; }

  // Otherwise some of it may be there without the rest.
  bool lands_whole() const { return !consignment_.in_pieces && world_.peer.lands_whole(); }

  // What may have been taken so far, too. Of journals that do not say how something went the server
  // as it is tells.
  bool went_whole() const { return consignment_.sent_whole && lands_whole(); }

  bool uncertain() const { return consignment_.uncertain || resent_; }

  Verdict judged(const Reply& reply) const {
    Verdict verdict = judge(reply, message_.sent.size(), uncertain(), civil_ms());
    if (verdict.action == Action::kLanded &&
        !is_of(message_, verdict.landing, consignment_.known, there_)) {
      // The answer to something else; what became of this message is not known.
      verdict = Verdict(Action::kHold, "unexpected-answer", true);
    }
    verdict.unknown = verdict.unknown || reply.partly || resent_;
    return verdict;
  }

  void finish(Conclusion out) {
    out.left = left_;
    out.partly = partly_;
    done_(std::move(out));
  }

  void send() {
    if (!there_.empty() || known_anew_) {
      message_ = make_message(consignment_.bundle, consignment_.known, there_);
    }
    if (message_.nothing || (message_.sent.empty() && !there_.empty())) {
      message_.nothing = message_.nothing || !something_there();
      conclude_landed({});
      return;
    }
    if (!unknown_people_.empty()) {
      message_.body = without_people(message_.body, unknown_people_);
    }
    Call call("POST", "", message_.body, consignment_.request_id);
    call.in_pieces = consignment_.in_pieces;
    ask(std::move(call), &Exchange::answered);
  }

  void answered(Reply reply) {
    Conclusion out;
    resent_ = resent_ || reply.resent;
    partly_ = partly_ || reply.partly;
    left_ = left_ || partly_ || reply.fate != Reply::Fate::kNotSent;
    out.verdict = judged(reply);
    out.status = reply.status;
    refused_ = reply.fate == Reply::Fate::kAnswered && reply.status >= 400 && reply.status < 500 &&
               !reply.partly && !resent_;
    std::vector<Look> looks;
    if (out.verdict.action == Action::kLanded) {
      landing_ = std::move(out.verdict.landing);
      outcome_ = std::move(out);
      for (std::size_t i = 0; i < landing_.size(); ++i) {
        if (message_.sent[i].way == Way::kCreate && landing_[i].status != 201) {
          const std::string resource = resource_of(landing_[i].location);
          looks.push_back({i, resource.empty() ? message_.sent[i].place : resource});
        }
      }
      look(Moment::kLanded, std::move(looks));
      return;
    }
    if (!reply.body.empty()) {
      out.parts.emplace_back("answer", reply.body.substr(0, base::limits::kKeptAnswerBytesMax));
    }
    if (out.verdict.reason == kTooLarge) {
      too_large(std::move(out), reply);
      return;
    }
    changed_ = may_be_changed(reply, out.verdict);
    // Of an earlier try that may have been taken, what stands there tells more than this answer.
    const bool open = refused_ && is_hold(out.verdict) && uncertain() && !others_in_doubt_;
    for (std::size_t i = 0; i < message_.sent.size(); ++i) {
      const Message::Sent& sent = message_.sent[i];
      const bool has_place = !sent.type.empty() && !sent.known.resource.empty();
      if ((changed_ && sent.way == Way::kVersion) || (open && has_place && !sent.known.shown)) {
        looks.push_back({i, sent.known.resource});
      }
    }
    outcome_ = std::move(out);
    if (looks.empty()) {
      conclude_not_landed();
    } else {
      look(Moment::kRefused, std::move(looks));
    }
  }

  static bool is_hold(const Verdict& verdict) {
    return verdict.action == Action::kHold || verdict.action == Action::kHoldRetry;
  }

  bool something_there() const {
    return std::any_of(there_.begin(), there_.end(),
                       [](const auto& one) { return !one.second.gone; });
  }

  // Nothing of it was found, neither of this bundle nor of what was sent before. What still stands
  // as it landed proves that for all of one transaction; otherwise each resource has to have been
  // seen not to be there, and this try to have changed nothing.
  bool nothing_there() const {
    if (something_there() || found_given_up_) {
      return false;
    }
    if (untouched_ && went_whole() && !others_in_doubt_) {
      return true;
    }
    return refused_ &&
           std::find(not_written_.begin(), not_written_.end(), false) == not_written_.end() &&
           std::all_of(given_up_.begin(), given_up_.end(), [this](const SentResources& sent) {
             return sent.all_carried([this](std::string_view one) { return own_->has(one); });
           });
  }

  void conclude_not_landed() {
    if (outcome_.verdict.reason == "unknown-reference" && refused_ && !people_asked_) {
      people_asked_ = true;
      people_ = people_in(message_.body);
      ask_for_people();
      return;
    }
    if (uncertain() && is_hold(outcome_.verdict) && nothing_there()) {
      outcome_.verdict.unknown = false;
      outcome_.nothing_there = true;
    }
    finish(std::move(outcome_));
  }

  // Whoever is not known there is no reason to keep what was recorded out of the chart.
  void ask_for_people() {
    if (!people_.empty() && people_.size() <= kPeopleMax) {
      ask(call_for(*people_.begin(), consignment_.request_id), &Exchange::person_found);
    } else if (unknown_people_.empty()) {
      conclude_not_landed();
    } else {
      send();
    }
  }

  void person_found(Reply reply) {
    Sight sight;
    const bool said = read_sight(*people_.begin(), reply, sight);
    if (!said && !lets_no_search(reply)) {
      conclude_not_landed();  // it stays with what the server said of the message
      return;
    }
    // Whom nobody may look for is named by identifier, too.
    if (!said || sight.kind == Sight::Kind::kAbsent || sight.kind == Sight::Kind::kForbidden) {
      unknown_people_.insert(*people_.begin());
    }
    people_.erase(people_.begin());
    ask_for_people();
  }

  // A whole goes on in pieces; a piece goes nowhere.
  void too_large(Conclusion out, const Reply& reply) {
    if (reply.about.empty() && !consignment_.in_pieces) {
      out.verdict.action = Action::kInPieces;
      out.refused = size();
    } else if (!reply.about.empty()) {
      fhir::Issue issue;
      issue.code = "too-long";
      issue.text = reply.about + " alone is larger than the record server takes";
      out.parts.emplace_back("outcome", fhir::to_operation_outcome({&issue, 1}));
    }
    outcome_ = std::move(out);
    conclude_not_landed();
  }

  void look(Moment moment, std::vector<Look> looks) {
    moment_ = moment;
    looks_ = std::move(looks);
    looked_ = 0;
    unchanged_ = 0;
    absent_.clear();
    conflicts_.clear();
    if (!looks_.empty() && !own_) {
      own_.emplace(consignment_.bundle);
    }
    if (moment_ == Moment::kPlaces) {
      look_on();  // nothing is compared but names
      return;
    }
    if (!looks_.empty() && !std::exchange(compares_, true)) {
      read_bundles(consignment_.given_up, given_up_);
      read_bundles(consignment_.landed, landed_);
      read_bundles(consignment_.later, later_);
      add_searches({&*own_, 1});
      for (const auto* bundles : {&given_up_, &landed_, &later_}) {
        add_searches(*bundles);
      }
    }
    resolve();
  }

  void add_searches(std::span<const SentResources> bundles) {
    for (const SentResources& bundle : bundles) {
      searches_.insert(bundle.searches().begin(), bundle.searches().end());
    }
  }

  // Whose chart and which stay a resource belongs to is the one thing of its references that has
  // to be known: the same values may hang on another patient.
  void resolve() {
    if (searches_.empty()) {
      look_on();
    } else {
      ask(call_for(*searches_.begin(), consignment_.request_id), &Exchange::resolved);
    }
  }

  void resolved(Reply reply) {
    Sight sight;
    const bool said = read_sight(*searches_.begin(), reply, sight);
    if (!said && !lets_no_search(reply)) {
      cannot_look(reply);
      return;
    }
    if (said && sight.kind != Sight::Kind::kForbidden) {
      const bool one = sight.kind == Sight::Kind::kThere;
      references_.emplace(*searches_.begin(), one ? sight.resource : std::string());
    }
    searches_.erase(searches_.begin());
    resolve();
  }

  // The server refuses the question and nothing of the session, in whatever words. An answer that
  // means later is taken for a refusal, too, when it never comes to anything else.
  bool lets_no_search(const Reply& reply) const {
    const Action action = judge(reply, 0, false, civil_ms()).action;
    return (action != Action::kRetry && action != Action::kPauseTarget) ||
           (consignment_.tries >= kTriesToResolve && (reply.status == 401 || reply.status == 500));
  }

  static void read_bundles(std::vector<std::string>& texts, std::vector<SentResources>& out) {
    for (std::string& text : std::exchange(texts, {})) {
      out.emplace_back(text);
    }
  }

  void look_on() {
    if (looked_ < looks_.size()) {
      if (message_.sent[looks_[looked_].sent].way == Way::kPlace) {
        leave_out_absent();  // of what was sent, a Provenance is about what else was
      }
      ask(call_for(looks_[looked_].place, consignment_.request_id), &Exchange::looked);
      return;
    }
    switch (moment_) {
      case Moment::kPlaces:
        look_before();
        return;
      case Moment::kBefore:
        looked_before();
        return;
      case Moment::kRefused:
        if (!conflicts_.empty() && changed_) {
          outcome_.nothing_there = uncertain() && nothing_there();
          hold(!outcome_.nothing_there &&
               (uncertain() || (!lands_whole() && outcome_.verdict.unknown)));
        } else if (conflicts_.empty() && unchanged_ < looks_.size()) {
          send();  // without those that are there already
        } else {
          conclude_not_landed();
        }
        return;
      case Moment::kLanded:
        if (conflicts_.empty() || (uncertain() && !consignment_.doubtful_past)) {
          conclude_landed(std::move(landing_));
        } else {
          hold(true);
        }
        return;
    }
  }

  // Before the first message: what may be there by an earlier try, or of a revision in doubt, and
  // what is not where it landed.
  void look_before() {
    if (!misplaced_.empty()) {
      message_ = make_message(consignment_.bundle, consignment_.known, there_);
    }
    std::vector<Look> looks;
    for (std::size_t i = 0; i < message_.sent.size(); ++i) {
      const Message::Sent& sent = message_.sent[i];
      const bool doubted = (others_in_doubt_ && !sent.known.shown) || is_misplaced(sent);
      if ((sent.known.unproven || doubted) && !sent.known.resource.empty()) {
        looks.push_back({i, sent.known.resource});
      } else if ((sent.way == Way::kPlace || sent.way == Way::kCreate) &&
                 (consignment_.uncertain || doubted || sent.known.unproven) && !sent.known.shown) {
        looks.push_back({i, sent.place});
      }
    }
    look(Moment::kBefore, std::move(looks));
  }

  // What a revision in doubt may have put there, is to be taken back and is not there.
  void leave_out_absent() {
    std::set<std::string_view> absent;
    for (const std::size_t at : moment_ == Moment::kBefore ? absent_ : std::vector<std::size_t>()) {
      const std::string& name = message_.sent[at].full_url;
      if (!consignment_.known.contains(name) &&
          std::any_of(given_up_.begin(), given_up_.end(),
                      [&name](const SentResources& bundle) { return bundle.has(name); })) {
        absent.insert(name);
      }
    }
    if (absent.empty()) {
      return;
    }
    KnownVersions left_out;
    for (const std::string& name :
         never_there(consignment_.bundle,
                     [&absent](std::string_view one) { return absent.contains(one); })) {
      left_out[name].gone = true;
    }
    own_.emplace(make_message(consignment_.bundle, {}, left_out).body);
    there_.merge(left_out);
  }

  bool is_misplaced(const Message::Sent& sent) const { return misplaced_.contains(sent.full_url); }

  // A server that was brought back from a backup, or another one at the same address, gives the
  // places of before to others, in versions that were ours. From here on the place is unknown.
  void seen_at_place(const Message::Sent& sent, const Sight& sight) {
    const bool there = sight.kind == Sight::Kind::kThere;
    if (sight.kind != Sight::Kind::kForbidden &&
        !(there && own_->is_of_same_name(sent.full_url, sight.content))) {
      misplaced_.emplace(sent.full_url, sent.known);
      consignment_.known.erase(sent.full_url);
    }
  }

  // What is not at its place and was looked for by its identifier.
  void found_elsewhere(const Message::Sent& sent, const Sight& sight) {
    const KnownVersion& before = misplaced_.at(sent.full_url);
    if (sight.kind != Sight::Kind::kThere) {
      conflicts_.push_back({sent.full_url, before.resource, before.etag, "", true});
    } else if (is_one_of(landed_, sent, sight.content)) {
      learn(sent, sight);
    } else {
      conflicts_.push_back({sent.full_url, sight.resource, "", sight.etag, false});
    }
  }

  // A transaction lands whole or not at all: when some of it is there, what is not was deleted.
  void looked_before() {
    leave_out_absent();
    const bool landed = some_there_ && !consignment_.doubtful_past;
    for (const std::size_t at : went_whole() ? absent_ : std::vector<std::size_t>()) {
      const Message::Sent& sent = message_.sent[at];
      if (landed || was_there(sent.full_url)) {
        conflicts_.push_back({sent.full_url, sent.place, "", "", true});
      }
    }
    conflicts_.empty() ? send() : hold(uncertain());
  }

  // Of the bundles that may have put it there one has landed; what landed tells nothing new.
  void note_origin(const Message::Sent& sent, const Sight& sight, bool ours) {
    if (!consignment_.sent_whole || is_one_of(landed_, sent, sight.content)) {
      return;
    }
    std::vector<const SentResources*> bundles;
    if (ours && consignment_.uncertain) {
      bundles.push_back(&*own_);
    }
    for (const SentResources& bundle : given_up_) {
      if (bundle.is_as_sent(sent.full_url, sight.content, references_)) {
        bundles.push_back(&bundle);
      }
    }
    if (!bundles.empty()) {
      origins_.insert(std::move(bundles));
    }
  }

  // Whichever of them it was that landed, it had this, too.
  bool was_there(const std::string& full_url) const {
    return std::any_of(origins_.begin(), origins_.end(), [&full_url](const auto& bundles) {
      return std::all_of(bundles.begin(), bundles.end(),
                         [&full_url](const auto* bundle) { return bundle->has(full_url); });
    });
  }

  void looked(Reply reply) {
    const Look& at = looks_[looked_];
    Sight sight;
    if (!read_sight(at.place, reply, sight)) {
      cannot_look(reply);
      return;
    }
    if (sight.kind == Sight::Kind::kForbidden && moment_ == Moment::kRefused) {
      conclude_not_landed();
      return;
    }
    if (sight.kind == Sight::Kind::kForbidden && is_needed(message_.sent[at.sent])) {
      // Nobody can tell what there is to correct or take back: a create would leave it as it is.
      outcome_.verdict = Verdict(Action::kHold, kNotReadable, uncertain());
      outcome_.status = reply.status;
      finish(std::move(outcome_));
      return;
    }
    if (moment_ == Moment::kPlaces) {
      seen_at_place(message_.sent[at.sent], sight);
    } else {
      found(at, sight);
    }
    ++looked_;
    look_on();
  }

  // Whether it has to be seen before anything is sent.
  bool is_needed(const Message::Sent& sent) const {
    return moment_ == Moment::kPlaces
               ? !sent.known.shown && !sent.known.unproven
               : moment_ == Moment::kBefore && (others_in_doubt_ || is_misplaced(sent));
  }

  void found(const Look& at, const Sight& sight) {
    const Message::Sent& sent = message_.sent[at.sent];
    const bool there = sight.kind == Sight::Kind::kThere;
    const bool as_known = there && same_version(sight.etag, sent.known.etag);
    const bool ours = there && own_->is_as_sent(sent.full_url, sight.content, references_);
    const bool as_landed = there && stands_as_landed(sent, sight);
    some_there_ = some_there_ || (moment_ == Moment::kBefore && there && !sent.known.unproven &&
                                  (ours || !is_misplaced(sent)));
    const bool untouched = ((as_known && !sent.known.etag.empty()) || as_landed) && !ours &&
                           !sent.known.shown && !sent.known.unproven;
    if (moment_ == Moment::kBefore && there) {
      note_origin(sent, sight, ours);
    }
    if (moment_ == Moment::kLanded && there && landing_[at.sent].location.empty()) {
      landing_[at.sent].location = sight.resource;
    }
    if (moment_ != Moment::kLanded) {
      untouched_ = untouched_ || untouched;
      not_written_[at.sent] = untouched || (sight.kind == Sight::Kind::kAbsent &&
                                            (sent.way == Way::kCreate || sent.way == Way::kPlace));
    }
    if (moment_ == Moment::kRefused && !ours && (as_known || untouched)) {
      ++unchanged_;
    } else if (moment_ == Moment::kLanded && ours) {
      LandedEntry& row = landing_[at.sent];
      row.etag = sight.etag.empty() ? row.etag : sight.etag;
    } else if (ours ||
               (moment_ == Moment::kBefore && there && is_one_of(later_, sent, sight.content))) {
      there_[sent.full_url] = {sight.resource, sight.etag, false, false, false};
    } else if (moment_ == Moment::kBefore && there && is_one_of(given_up_, sent, sight.content)) {
      // Ours, of a revision that nobody knew the fate of: from now on a known version of ours.
      learn(sent, sight);
      found_given_up_ = true;
    } else if (moment_ == Moment::kBefore && is_misplaced(sent) &&
               sight.kind != Sight::Kind::kSeveral) {
      found_elsewhere(sent, sight);
    } else if (moment_ == Moment::kBefore && as_landed) {
      learn(sent, sight);  // which version, nobody had said
    } else if (moment_ == Moment::kBefore && as_known && !sent.known.unproven &&
               !sent.known.resource.empty()) {
      // It stands as it landed.
    } else if (moment_ == Moment::kBefore && !sent.known.unproven &&
               (sent.way == Way::kCreate || sight.kind == Sight::Kind::kAbsent ||
                sight.kind == Sight::Kind::kForbidden)) {
      // The create itself tells what is there with other content.
      if (sight.kind == Sight::Kind::kAbsent) {
        absent_.push_back(at.sent);
      }
    } else {
      if (moment_ == Moment::kLanded) {
        landing_[at.sent].unproven = true;
      }
      const bool gone = sight.kind == Sight::Kind::kAbsent || sight.kind == Sight::Kind::kGone;
      // A search may lag behind what was just written.
      const bool seen = sight.kind != Sight::Kind::kForbidden && !(gone && at.place == sent.place);
      if (seen || moment_ == Moment::kBefore) {
        conflicts_.push_back(
            {sent.full_url, there ? sight.resource : at.place, sent.known.etag, sight.etag, gone});
      }
    }
  }

  bool is_one_of(const std::vector<SentResources>& bundles, const Message::Sent& sent,
                 const std::string& content) const {
    return std::any_of(bundles.begin(), bundles.end(), [&](const SentResources& bundle) {
      return bundle.is_as_sent(sent.full_url, content, references_);
    });
  }

  // Of what landed without a version, or at a place that nobody named, the content tells whether it
  // still is that.
  bool stands_as_landed(const Message::Sent& sent, const Sight& sight) const {
    if (!sent.known.etag.empty() || sent.known.unproven != sent.known.resource.empty()) {
      return false;
    }
    const auto last = std::find_if(landed_.begin(), landed_.end(), [&sent](const auto& bundle) {
      return bundle.has(sent.full_url);
    });
    return last != landed_.end() && last->is_as_sent(sent.full_url, sight.content, references_);
  }

  void learn(const Message::Sent& sent, const Sight& sight) {
    consignment_.known[sent.full_url] = {sight.resource, sight.etag, false, false, false};
    known_anew_ = true;
  }

  // Later, then; or it stays with what the server said before.
  void cannot_look(const Reply& reply) {
    Verdict verdict = judged(reply);
    if (verdict.action == Action::kLanded) {
      verdict = Verdict(Action::kHold, "unexpected-answer");  // a look lands nothing
    }
    if (moment_ != Moment::kRefused || verdict.action == Action::kRetry ||
        verdict.action == Action::kPauseTarget) {
      verdict.unknown = uncertain() || moment_ == Moment::kLanded ||
                        (moment_ == Moment::kRefused && outcome_.verdict.unknown);
      outcome_ = {std::move(verdict), reply.status, {}, {}, {}};
    }
    finish(std::move(outcome_));
  }

  void conclude_landed(const Landing& landing) {
    Conclusion out = std::move(outcome_);
    if (message_.nothing) {
      out.reason = kNothingToSend;
    } else {
      out.reason = unknown_people_.empty() ? "" : kUnknownPerson;
    }
    out.verdict = Verdict(Action::kLanded, out.reason);
    out.parts.clear();
    out.parts.emplace_back("landing",
                           to_text(whole_landing(message_, landing, consignment_.bundle, there_)));
    if (!conflicts_.empty()) {
      out.reason = "changed-since";
      out.parts.emplace_back("conflict", to_text(conflicts_));
    }
    finish(std::move(out));
  }

  void hold(bool unknown) {
    Conclusion out = std::move(outcome_);
    out.verdict = Verdict(Action::kHold, "changed-elsewhere", unknown);
    fhir::Issues issues;
    for (const Conflict& conflict : conflicts_) {
      fhir::Issue issue;
      issue.code = "conflict";
      issue.text = to_sentence(conflict);
      issues.push_back(std::move(issue));
    }
    out.parts.emplace_back("outcome", fhir::to_operation_outcome(issues));
    out.parts.emplace_back("conflict", to_text(conflicts_));
    finish(std::move(out));
  }

  ExchangeWorld world_;
  Consignment consignment_;
  const bool others_in_doubt_;  // what other bundles sent may be there, too
  std::function<void(Conclusion)> done_;
  Message message_;
  bool resent_ = false;  // something of this exchange may have been taken although no answer came
  bool left_ = false;    // see Conclusion
  bool partly_ = false;
  KnownVersions there_;  // has our content already
  bool found_given_up_ = false;
  bool known_anew_ = false;  // versions that only a look told
  KnownVersions misplaced_;  // where something else is now, or nothing
  // What is looked at is compared with these; read for the first look.
  bool compares_ = false;
  std::optional<SentResources> own_;
  std::vector<SentResources> given_up_;
  std::vector<SentResources> landed_;
  std::vector<SentResources> later_;
  std::set<std::string> searches_;  // in them, not asked for yet
  References references_;
  bool people_asked_ = false;
  std::set<std::string> people_;          // not asked for yet
  std::set<std::string> unknown_people_;  // the server has nobody of the name
  Conclusion outcome_;                    // so far
  Landing landing_;                       // of the message
  Moment moment_ = Moment::kBefore;
  std::vector<Look> looks_;
  std::size_t looked_ = 0;
  std::size_t unchanged_ = 0;
  bool changed_ = false;           // the answer is one behind which a changed resource may stand
  bool refused_ = false;           // of the last message nothing was taken
  bool untouched_ = false;         // something that it writes over was seen as it landed
  std::vector<bool> not_written_;  // by entry of the first message: seen as if never sent
  std::vector<std::size_t> absent_;
  bool some_there_ = false;  // of what an earlier try sent
  // For what was found before sending: the bundles that may have put it there. A few at most.
  std::set<std::vector<const SentResources*>> origins_;
  std::vector<Conflict> conflicts_;
};

}  // namespace

void start_exchange(ExchangeWorld world, Consignment consignment,
                    std::function<void(Conclusion)> done) {
  std::make_shared<Exchange>(std::move(world), std::move(consignment), std::move(done))->begin();
}

}  // namespace engine::delivery

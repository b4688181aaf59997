#include "engine/web/sheets.h"

#include <algorithm>
#include <array>
#include <atomic>
#include <chrono>
#include <memory>
#include <utility>
#include <vector>

#include "engine/base/hash.h"
#include "engine/base/limits.h"
#include "engine/journal/stored.h"
#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/web/sheet_document.h"
#include "engine/web/sheet_limits.h"

namespace engine::web {
namespace {

namespace limits = base::limits;
using base::Error;
using base::ErrorCode;
using journal::Change;
using journal::Kind;
using json::Node;

// Digits and letters that are not taken for one another on paper (RFC 4648 leaves the alphabet to
// the use; this one has neither i, l, o nor u).
constexpr std::string_view kAlphabet = "0123456789abcdefghjkmnpqrstvwxyz";
static_assert(kAlphabet.size() == 32);
constexpr std::string_view kUuidSystem = "urn:ietf:rfc:3986";

const json::NameTable& names() {
  static const json::NameTable table;
  return table;
}

std::string hidden(const journal::SearchKey& key, const Named& who) {
  return who.system.empty() && who.value.empty() ? std::string()
                                                 : key.hide(who.system + "|" + who.value);
}

Named named(const Node* person) {
  const Node* identifier = person != nullptr ? person->find("identifier") : nullptr;
  return identifier == nullptr ? Named{}
                               : Named{std::string(identifier->string_at("system")),
                                       std::string(identifier->string_at("value"))};
}

bool same(const Named& a, const Named& b) {
  return a.system == b.system && a.value == b.value;
}

// nullptr when the ward list has no such patient; otherwise the item with bed and order.
const Node* patient_of(const Node& ward, const Named& who) {
  const Node* list = ward.find("patient");
  for (const Node* one = list != nullptr ? list->first : nullptr; one != nullptr; one = one->next) {
    if (!who.value.empty() && same(named(one->find("patient")), who)) {
      return one;
    }
  }
  return nullptr;
}

const Node* therapist_of(const Node& ward, const Named& who, std::string_view display) {
  const Node* list = ward.find("therapist");
  for (const Node* one = list != nullptr ? list->first : nullptr; one != nullptr; one = one->next) {
    if (same(named(one), who) && one->string_at("display") == display) {
      return one;
    }
  }
  return nullptr;
}

// For whom somebody else acted.
std::string in_the_name_of(std::string_view display, const std::string& caller) {
  return caller.empty() ? std::string() : ", in the name of " + std::string(display);
}

struct Chosen {
  const Node* patient;
  const Node* therapist;
};

base::Result<Chosen> choose(const Node& ward, const Named& patient, const Named& therapist,
                            std::string_view display) {
  const Chosen chosen{patient_of(ward, patient), therapist_of(ward, therapist, display)};
  if (chosen.patient == nullptr || chosen.therapist == nullptr) {
    return Error(ErrorCode::kNotFound, std::string("there is no such ") +
                                           (chosen.patient == nullptr ? "patient" : "therapist") +
                                           " on the ward list");
  }
  if (chosen.therapist->string_at("role") != "therapist") {
    return Error(ErrorCode::kInvalid, "a sheet is handed out by somebody in the role 'therapist'");
  }
  return chosen;
}

void add(std::string& out, std::string_view name, const Node* node) {
  if (node != nullptr) {
    out += out.back() == '{' ? "\"" : ",\"";
    out.append(name).append("\":").append(json::to_text(*node));
  }
}

std::string frame_of(const Node& ward, const Chosen& chosen, const std::string& name,
                     const std::string& expires) {
  std::string out = R"({"identifier":{"system":")" + std::string(kUuidSystem) + R"(","value":")" +
                    name + R"("},"expires":")" + expires + "\"";
  add(out, "facility", ward.find("facility"));
  add(out, "patient", chosen.patient->find("patient"));
  add(out, "therapist", chosen.therapist);
  add(out, "order", chosen.patient->find("order"));
  return out + "}";
}

std::chrono::system_clock::time_point at_ms(std::int64_t ms) {
  return std::chrono::system_clock::time_point(std::chrono::milliseconds(ms));
}

// The identifier of the session of a link, which nobody can make who has not got the link.
std::string session_name(const journal::SearchKey& key, std::string_view token) {
  const std::string secret = key.hide("sheet " + std::string(token));
  return "urn:uuid:" + base::to_string(base::name_based_uuid(base::kNamespaceUrl, secret));
}

bool is_token(std::string_view text) {
  return text.size() == limits::kSheetTokenChars &&
         text.find_first_not_of(kAlphabet) == std::string_view::npos;
}

}  // namespace

std::int64_t Sheets::now_ms() const {
  return std::chrono::duration_cast<std::chrono::milliseconds>(
             world_.clock.now().time_since_epoch())
      .count();
}

// Handed out lately and not ended; some may be over.
base::Result<std::vector<journal::Record>> Sheets::open_links(const std::string& patient) const {
  journal::Query query;
  query.patient = patient;
  query.since = base::to_instant(world_.clock.now() - limits::kSheetLifetime - limits::kSheetGrace);
  query.newest_first = true;
  query.limit = limits::kTrafficMax;
  query.kind = Kind::kHandedOut;
  auto handed_out = world_.journal.store().search(query);
  query.kind = Kind::kLinkEnded;
  const auto ended = world_.journal.store().search(query);
  if (!handed_out || !ended) {
    return handed_out ? ended.error() : handed_out.error();
  }
  const auto gone =
      std::remove_if(handed_out->begin(), handed_out->end(), [&](const journal::Record& one) {
        return one.kind == Kind::kUnreadable ||
               std::any_of(ended->begin(), ended->end(),
                           [&](const journal::Record& end) { return end.session == one.session; });
      });
  handed_out->erase(gone, handed_out->end());
  return handed_out;
}

void Sheets::hand_out(const Named& patient, const Named& therapist, std::string_view display,
                      const std::string& caller,
                      std::function<void(base::Result<HandedOut>)> done) {
  const auto text = world_.ward();
  json::Document ward(names());
  if (!text || !ward.parse(*text).has_value()) {
    done(text ? Error(ErrorCode::kCorrupt, "the ward list is no JSON") : text.error());
    return;
  }
  const auto chosen = choose(*ward.root(), patient, therapist, display);
  const std::string who = hidden(world_.key, patient);
  const auto open = open_links(who);
  if (!chosen || !open) {
    done(chosen ? open.error() : chosen.error());
    return;
  }
  const std::string since = base::to_instant(world_.clock.now() - limits::kSheetLifetime);
  if (std::count_if(open->begin(), open->end(), [&](const auto& one) {
        return one.time > since;
      }) >= static_cast<std::ptrdiff_t>(limits::kSheetsOfPatientMax)) {
    done(Error(ErrorCode::kConflict, "this patient has " +
                                         std::to_string(limits::kSheetsOfPatientMax) +
                                         " links that still work; end them first"));
    return;
  }
  std::array<std::uint8_t, limits::kSheetTokenChars> random{};
  world_.random.fill(random);
  HandedOut given;
  for (const std::uint8_t byte : random) {
    given.token.push_back(kAlphabet[byte % kAlphabet.size()]);  // 256 is a multiple of 32
  }
  given.expires = base::to_instant(world_.clock.now() + limits::kSheetLifetime);
  const std::string name = session_name(world_.key, given.token);
  Change change;
  change.record.kind = Kind::kHandedOut;
  change.record.session = world_.session_id(kUuidSystem, name);
  change.record.patient = who;
  change.record.therapist = hidden(world_.key, therapist);
  change.record.actor = caller.empty() ? std::string(display) : caller;
  change.record.why =
      "a sheet for the patient, until " + given.expires + in_the_name_of(display, caller);
  change.parts.push_back(journal::to_stored(
      journal::Part("document", frame_of(*ward.root(), *chosen, name, given.expires))));
  const bool taken = world_.journal.submit(
      std::move(change), [done, given](const base::Result<journal::Outcome>& outcome) {
        done(outcome ? base::Result<HandedOut>(given) : outcome.error());
      });
  if (!taken) {
    done(Error(ErrorCode::kIo, "the engine has as much in hand as it can"));
  }
}

void Sheets::end(const Named& patient, const Named& therapist, std::string_view display,
                 const std::string& caller, std::function<void(base::Result<std::size_t>)> done) {
  const auto text = world_.ward();
  json::Document ward(names());
  if (!text || !ward.parse(*text).has_value()) {
    done(text ? Error(ErrorCode::kCorrupt, "the ward list is no JSON") : text.error());
    return;
  }
  // A patient who has left the list may still have links.
  if (therapist_of(*ward.root(), therapist, display) == nullptr) {
    done(Error(ErrorCode::kNotFound, "there is no such therapist on the ward list"));
    return;
  }
  const auto open = open_links(hidden(world_.key, patient));
  if (!open || open->empty()) {
    done(open ? base::Result<std::size_t>(std::size_t{0}) : open.error());
    return;
  }
  struct Wait {
    std::atomic<std::size_t> left;
    std::atomic<bool> failed{false};
  };
  auto wait = std::make_shared<Wait>();
  wait->left = open->size();
  const auto one_done = [wait, done, count = open->size()](bool good) {
    wait->failed = wait->failed || !good;
    if (--wait->left == 0) {
      done(wait->failed ? base::Result<std::size_t>(Error(
                              ErrorCode::kIo, "the journal cannot be written just now; try again"))
                        : base::Result<std::size_t>(count));
    }
  };
  for (const journal::Record& one : *open) {
    Change change;
    change.record.kind = Kind::kLinkEnded;
    change.record.session = one.session;
    change.record.patient = one.patient;
    change.record.therapist = hidden(world_.key, therapist);
    change.record.actor = caller.empty() ? std::string(display) : caller;
    change.record.why = "a link of a sheet is ended" + in_the_name_of(display, caller);
    if (!world_.journal.submit(std::move(change), [one_done](const auto& outcome) {
          one_done(outcome.has_value());
        })) {
      one_done(false);
    }
  }
}

base::Result<SheetLink> Sheets::find(std::string_view token) const {
  const Error unknown(ErrorCode::kNotFound, "this link does not work");
  if (!is_token(token)) {
    return unknown;
  }
  SheetLink link;
  link.session = world_.session_id(kUuidSystem, session_name(world_.key, token));
  const journal::Store& store = world_.journal.store();
  journal::Query query;
  query.session = link.session;
  query.limit = 1;
  query.kind = Kind::kHandedOut;
  const auto handed_out = store.search(query);
  query.kind = Kind::kLinkEnded;
  const auto ended = store.search(query);
  if (!handed_out || !ended) {
    return handed_out ? ended.error() : handed_out.error();
  }
  if (handed_out->empty() || !ended->empty() || handed_out->front().kind == Kind::kUnreadable) {
    return unknown;
  }
  const journal::Record& record = handed_out->front();
  auto frame = store.part(record.position, "document");
  json::Document document(names());
  if (!frame || !document.parse(*frame).has_value()) {
    return frame || frame.error().code == ErrorCode::kNotFound ? unknown : frame.error();
  }
  link.frame = std::move(*frame);
  link.patient = record.patient;
  link.expires = document.root()->string_at("expires");
  link.handed_out_ms = milliseconds_of(record.time).value_or(0);
  link.expires_ms = milliseconds_of(link.expires).value_or(0);
  link.over = now_ms() >= link.expires_ms;
  if (at_ms(link.expires_ms) + limits::kSheetGrace <= world_.clock.now()) {
    return unknown;
  }
  return link;
}

base::Result<std::string> Sheets::latest(const SheetLink& link) const {
  const auto known = world_.journal.store().acceptances(link.session);
  if (!known) {
    return known.error();
  }
  if (known->empty()) {
    return std::string();
  }
  const auto last =
      std::max_element(known->begin(), known->end(),
                       [](const auto& a, const auto& b) { return a.revision < b.revision; });
  return world_.journal.store().part(last->position, "document");
}

base::Result<std::string> Sheets::plan(const SheetLink& link) const {
  const Error unknown(ErrorCode::kNotFound, "this link does not work");
  const auto text = world_.ward();
  const auto reported = latest(link);
  if (!text || !reported) {
    return text ? reported.error() : text.error();
  }
  json::Document ward(names());
  json::Document frame(names());
  if (link.over || !ward.parse(*text).has_value() || !frame.parse(link.frame).has_value()) {
    return unknown;
  }
  const Node* item = patient_of(*ward.root(), named(frame.root()->find("patient")));
  if (item == nullptr) {
    return unknown;
  }
  std::string out = "{";
  add(out, "name", item->find("name"));
  if (const Node* facility = ward.root()->find("facility")) {
    add(out, "facility", facility->find("display"));
  }
  if (const Node* order = item->find("order")) {
    add(out, "breathing", order->find("breathing"));
    add(out, "saturationTarget", order->find("saturationTarget"));
  }
  const Node* own = item->find("sheet");
  const Node* general = ward.root()->find("sheet");
  for (const char* lines : {"stop", "call"}) {
    const Node* found = own != nullptr ? own->find(lines) : nullptr;
    add(out, lines, found == nullptr && general != nullptr ? general->find(lines) : found);
  }
  out += out.back() == '{' ? "" : ",";
  return out + R"("expires":")" + link.expires + R"(","reported":)" + reported_view(*reported) +
         "}";
}

bool WrongLinks::note(const std::string& address, std::int64_t now_ms) {
  const std::lock_guard lock(mutex_);
  const std::int64_t window = now_ms / std::chrono::milliseconds(limits::kSheetTriesWindow).count();
  if (window != window_) {
    window_ = window;
    all_ = 0;
    of_.clear();
  }
  if (all_ >= limits::kSheetTriesMax) {
    return false;
  }
  ++all_;
  return ++of_[address] <= limits::kSheetTriesOfAddressMax;
}

}  // namespace engine::web

#pragma once
// A courier on a journal in memory, against a record server that keeps versions, that others write
// to, and whose answers get lost.

#include <map>
#include <string>

#include <gtest/gtest.h>

#include "engine/delivery/conflict.h"
#include "engine/json/document.h"
#include "engine/json/write.h"
#include "tests/delivery/still_world.h"

namespace engine::delivery {

// One resource an identifier, of which the place has the name unless others have that place;
// everything a bundle says is taken, or nothing.
class KeepingServer {
 public:
  struct Kept {
    int version = 0;
    std::string content;  // empty: deleted
  };

  Reply answer(const Call& call) {
    log += call.method + call.path.substr(0, call.path.rfind('/') + 1) + " ";
    if (call.method == "GET") {
      return call.path == "/metadata" ? StillPeer::status(200) : read(call.path.substr(1));
    }
    if (call.path.ends_with("/_search")) {
      const std::string type = call.path.substr(1, call.path.find('/', 1));
      return search(type.substr(0, type.size() - 1), call.body.substr(call.body.find('=') + 1));
    }
    if (too_large > 0) {
      --too_large;
      return StillPeer::status(413);
    }
    last_body = call.body;
    Reply reply = take(call.body);
    if (lose_answers > 0) {
      --lose_answers;
      return Reply(Reply::Fate::kNoAnswer, "lost");
    }
    return reply;
  }
  void edit(const std::string& place, const std::string& content) {
    kept[place] = {kept[place].version + 1, content};
  }
  // As on another server, or one that lost its newest: the resource has another id, and its old one
  // is somebody else's, in the version that the first one had there.
  void move(const std::string& from, const std::string& to) {
    kept[to] = {1, kept[from].content};
    kept[from].content = R"({"resourceType":"Observation","identifier":[{"value":"other"}]})";
  }

  std::map<std::string, Kept> kept;  // "Observation/a"
  int lose_answers = 0;
  int too_large = 0;           // this many messages
  std::string last_body;       // of a message that was taken
  bool names_versions = true;  // of what it takes, in the answer
  bool names_places = true;
  bool always_200 = false;  // also of what it makes
  bool finds = true;        // what it has; of a search that lags behind not
  bool readable = true;
  std::string log;

 private:
  static std::string etag(const Kept& one) { return "W/\"" + std::to_string(one.version) + '"'; }
  static std::string identifier_of(const std::string& name) {
    return R"("identifier":[{"value":")" + name + "\"}]";
  }
  static std::string name_of(const std::string& place) { return place.substr(place.find('/') + 1); }
  // Edits in tests leave the identifier out. A Provenance has none.
  static std::string with_identifier(const std::string& place, std::string resource) {
    if (!place.starts_with("Provenance/") && resource.find("identifier") == std::string::npos) {
      resource.insert(resource.size() - 1, "," + identifier_of(name_of(place)));
    }
    return resource;
  }
  // Where the resource with the identifier is, or would be made.
  std::string place_of(const std::string& type, const std::string& name) const {
    for (const auto& [place, one] : kept) {
      if (place.starts_with(type + "/") &&
          one.content.find(identifier_of(name)) != std::string::npos) {
        return place;
      }
    }
    const auto same = kept.find(type + "/" + name);
    const bool taken =
        same != kept.end() && same->second.content.find("identifier") != std::string::npos;
    return type + "/" + name + (taken ? "-anew" : "");
  }

  Reply read(const std::string& place) const {
    const auto found = kept.find(place);
    if (!readable || found == kept.end() || found->second.content.empty()) {
      return StillPeer::status(!readable ? 403 : found == kept.end() ? 404 : 410);
    }
    Reply reply = StillPeer::status(200);
    reply.body = with_identifier(place, found->second.content);
    reply.headers.emplace_back("ETag", etag(found->second));
    return reply;
  }

  Reply search(const std::string& type, const std::string& name) const {
    const std::string place = place_of(type, name);
    const auto found = kept.find(place);
    Reply reply = StillPeer::status(readable ? 200 : 403);
    reply.body = R"({"resourceType":"Bundle","type":"searchset")";
    if (finds && found != kept.end() && !found->second.content.empty()) {
      std::string resource = with_identifier(place, found->second.content);
      resource.insert(resource.size() - 1, R"(,"id":")" + name_of(place) +
                                               R"(","meta":{"versionId":")" +
                                               std::to_string(found->second.version) + "\"}");
      reply.body += R"(,"entry":[{"search":{"mode":"outcome"},"resource":{"resourceType":)"
                    R"("OperationOutcome"}},{"resource":)" +
                    resource + R"(,"search":{"mode":"match"}}])";
    }
    reply.body += "}";
    return reply;
  }

  // Whether each "Practitioner?identifier=r" of a bundle is there.
  bool knows_people(const std::string& body) const {
    static const std::string kPerson = "Practitioner?identifier=";
    for (std::size_t at = body.find(kPerson); at != std::string::npos;
         at = body.find(kPerson, at + 1)) {
      const std::size_t from = at + kPerson.size();
      if (kept.count("Practitioner/" + body.substr(from, body.find('"', from) - from)) == 0) {
        return false;
      }
    }
    return true;
  }

  Reply take(const std::string& body) {
    const json::NameTable names;
    json::Document document(names);
    EXPECT_TRUE(document.parse(body)) << body;
    if (!knows_people(body)) {
      Reply refused = StillPeer::status(412);
      refused.body = R"({"resourceType":"OperationOutcome","issue":[{"severity":"error",)"
                     R"("code":"not-found","diagnostics":"a reference has no match"}]})";
      return refused;
    }
    auto next = kept;
    Reply reply = StillPeer::status(200);
    reply.body = R"({"resourceType":"Bundle","type":"transaction-response","entry":[)";
    const char* comma = "";
    for (const json::Node& entry : *document.root()->find("entry")) {
      const json::Node& request = *entry.find("request");
      const bool create = request.string_at("method") == "POST";
      const std::string url(request.string_at(create ? "ifNoneExist" : "url"));
      const std::string place =
          create ? place_of("Observation", url.substr(url.find('=') + 1)) : std::string(url);
      const Kept before = next[place];
      if (!create && request.find("ifMatch") != nullptr &&
          (request.string_at("ifMatch") != etag(before) || before.content.empty())) {
        return StillPeer::status(412);
      }
      const bool matched = create && !before.content.empty();
      if (!matched) {
        next[place] = {before.version + 1, json::to_text(*entry.find("resource"))};
      }
      reply.body += comma;
      comma = ",";
      reply.body += R"({"response":{"status":")" +
                    std::string(before.content.empty() && !always_200 ? "201 Created" : "200 OK");
      if (names_places) {
        reply.body += R"(","location":")" + place +
                      (names_versions ? "/_history/" + std::to_string(next[place].version) : "");
      }
      reply.body += "\"}}";
    }
    kept = std::move(next);
    reply.body += "]}";
    return reply;
  }
};

class ExchangeTest : public ::testing::Test {
 protected:
  ExchangeTest() {
    world_.peer.answer = [this](const Call& call) { return server_.answer(call); };
    courier_ = world_.courier();
  }

  static std::string entry(const std::string& name, const std::string& value, bool update) {
    const std::string query = "identifier=" + name;
    return R"({"fullUrl":"urn:)" + name +
           R"(","resource":{"resourceType":"Observation","identifier":[{"value":")" + name +
           R"("}],"value":")" + value + R"("},"request":)" +
           (update ? R"({"method":"PUT","url":"Observation?)" + query + "\"}}"
                   : R"({"method":"POST","url":"Observation","ifNoneExist":")" + query + "\"}}");
  }
  static std::string provenance(const std::string& id) {
    return R"({"fullUrl":"urn:)" + id + R"(","resource":{"resourceType":"Provenance","id":")" + id +
           R"("},"request":{"method":"PUT","url":"Provenance/)" + id + "\"}}";
  }

  void send(std::uint32_t revision, const std::string& entries) {
    journal::Record record;
    record.kind = journal::Kind::kAccepted;
    record.session = "s";
    record.revision = revision;
    record.targets = "main";
    record.content = std::to_string(revision);
    world_.write(journal::Change(record));
    make(revision, entries);
  }
  // As a translation does. No bundle when there are no entries.
  journal::Position make(std::uint32_t revision, const std::string& entries) {
    journal::Record record;
    record.kind = journal::Kind::kChecked;
    record.session = "s";
    record.revision = revision;
    record.target = "main";
    journal::Change change(record);
    if (!entries.empty()) {
      change.parts.push_back(journal::to_stored(journal::Part(
          "bundle",
          R"({"resourceType":"Bundle","type":"transaction","entry":[)" + entries + "]}")));
    }
    const journal::Position made = world_.write(std::move(change)).position;
    run();
    return made;
  }
  void steer(std::uint32_t revision, journal::Kind kind) {
    journal::Record record;
    record.kind = kind;
    record.session = "s";
    record.revision = revision;
    record.target = "main";
    record.actor = "Robin Sample";
    record.why = "compared";
    world_.write(journal::Change(record));
    run();
  }
  void run() {
    server_.log.clear();
    courier_->wake();
    world_.loop.run_until(world_.clock.ms + 60'000);
  }
  journal::Leg leg(std::uint32_t revision) { return world_.store->legs("s")->at(revision - 1); }
  // "held changed-elsewhere"
  std::string state(std::uint32_t revision) {
    const journal::Leg one = leg(revision);
    return std::string(journal::name_of(one.state)) + (one.reason.empty() ? "" : " " + one.reason);
  }
  std::string part(std::uint32_t revision, const char* name) {
    const auto text = world_.store->part(leg(revision).changed, name);
    return text ? *text : std::string();
  }

  StillWorld world_;
  KeepingServer server_;
  std::shared_ptr<Courier> courier_;
};

}  // namespace engine::delivery

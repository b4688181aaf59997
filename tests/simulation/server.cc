#include "tests/simulation/server.h"

#include <algorithm>
#include <utility>

#include "engine/json/document.h"
#include "engine/json/write.h"
#include "tests/simulation/world.h"

namespace simulation {

using engine::delivery::Call;
using engine::delivery::Reply;
using engine::json::Node;

namespace {

Reply status(int code) {
  Reply reply;
  reply.status = code;
  return reply;
}

std::string outcome(const char* code, const char* text) {
  return R"({"resourceType":"OperationOutcome","issue":[{"severity":"error","code":")" +
         std::string(code) + R"(","diagnostics":")" + text + R"("}]})";
}

}  // namespace

std::string Server::etag(const Resource& resource) const {
  return manners_.etags ? "W/\"" + std::to_string(resource.version) + '"' : std::string();
}

void Server::arrive(const Call& call, std::function<void(Reply)> answer) {
  Chance& chance = world_.chance_;
  if (call.method == "GET") {
    const bool away = world_.faults_.server != 0 && chance.one_in(3);
    const bool resource = call.path.starts_with("/Observation/");
    answer(away ? status(503) : resource ? read(call.path.substr(13)) : statement());
    return;
  }
  if (call.path.ends_with("/_search")) {
    world_.note("server search " + call.body);
    answer(chance.one_in(world_.faults_.server) ? status(503) : search(call.body));
    return;
  }
  const int fault = chance.one_in(world_.faults_.server) ? 1 + chance.below(8) : 0;
  world_.note("server " + call.request_id + " fault " + std::to_string(fault));
  switch (fault) {
    case 1:
      answer(Reply(Reply::Fate::kNoAnswer, "dropped before commit"));
      return;
    case 2:
      commit(call, chance.one_in(2));
      answer(Reply(Reply::Fate::kNoAnswer, "dropped after commit"));
      return;
    case 3:
      answer(status(503));
      return;
    case 4: {
      Reply reply = status(429);
      reply.headers.emplace_back("Retry-After", "2");
      answer(reply);
      return;
    }
    case 5:
      answer(status(500));
      return;
    case 6:
      commit(call, chance.one_in(2));
      answer(status(500));
      return;
    case 7: {
      Reply page = status(200);
      page.body = "<html>portal</html>";
      answer(page);
      return;
    }
    case 8:
      answer(Reply(Reply::Fate::kNotSent, "refused"));
      return;
    default:
      answer(commit(call, true));
  }
}

Reply Server::statement() const {
  Reply reply = status(200);
  reply.body = R"({"resourceType":"CapabilityStatement","rest":[{"mode":"server","interaction":)"
               R"([{"code":")" +
               std::string(manners_.takes) + R"("}]}]})";
  return reply;
}

Reply Server::read(const std::string& id) const {
  const auto found = resources_.find(id);
  if (found == resources_.end()) {
    return status(404);
  }
  if (found->second.deleted) {
    return status(410);
  }
  Reply reply = status(200);
  reply.body = found->second.content;
  if (manners_.etags) {
    reply.headers.emplace_back("ETag", etag(found->second));
  }
  return reply;
}

Reply Server::search(const std::string& query) const {
  const std::string name = query.substr(query.find('=') + 1);
  Reply reply = status(200);
  reply.body = R"({"resourceType":"Bundle","type":"searchset","entry":[)";
  const std::size_t dash = name.find('-');
  if (dash != std::string::npos &&
      created.count(name.substr(0, dash) + "/" + name.substr(dash + 1))) {
    reply.body += R"({"resource":{"resourceType":"Basic","id":")" + name +
                  R"(","identifier":[{"value":")" + name + "\"}]}}";
  }
  for (const auto& [id, resource] : resources_) {
    if (id.starts_with(name + "-") && !resource.deleted) {
      std::string content = resource.content;
      content.insert(1, R"("id":")" + id + "\"," +
                            (manners_.etags ? R"("meta":{"versionId":")" +
                                                  std::to_string(resource.version) + "\"},"
                                            : ""));
      reply.body += R"({"resource":)" + content + "}";
    }
  }
  reply.body += "]}";
  return reply;
}

std::string Server::find(const Node& request, const Node& resource) const {
  const bool create = request.string_at("method") == "POST";
  const std::string url(request.string_at(create ? "ifNoneExist" : "url"));
  if (!create && url.find('?') == std::string::npos) {
    const std::string id = url.substr(url.find('/') + 1);
    const auto found = resources_.find(id);
    const bool newest = found != resources_.end() && !found->second.deleted &&
                        request.string_at("ifMatch") == etag(found->second) &&
                        resource.string_at("id") == id;
    return newest ? id : std::string();
  }
  const std::string name = url.substr(url.find('=') + 1);
  int number = 1;
  for (const auto& [id, there] : resources_) {
    if (id.starts_with(name + "-")) {
      if (!there.deleted) {
        return id;
      }
      ++number;
    }
  }
  return name + "-" + std::to_string(number);
}

void Server::write(const std::string& id, const Node& resource) {
  const std::string name = id.substr(0, id.find('-'));
  for (const auto& [other, there] : resources_) {
    const bool replaced =
        other.starts_with(name + "-") && there.foreign && (other == id || there.deleted);
    const std::string seen = "Observation/" + other + (there.deleted ? "" : " " + etag(there));
    const bool knowingly = shown.count(seen) > 0 ||
                           (there.deleted && shown.count("Observation?identifier=" + name) > 0);
    // Of what is missing after a write that broke off, nobody can say whether it ever was there.
    const bool unknowable = there.deleted && !takes_transactions();
    if (replaced && manners_.etags && !knowingly && !unknowable) {
      ++trampled;
      world_.note("trampled " + seen + " by " + id);
    }
  }
  Resource& there = resources_[id];
  there.version += there.content.empty() ? 0 : 1;
  there.content = engine::json::to_text(resource);
  there.foreign = false;
}

void Server::edit_by_somebody() {
  if (resources_.empty()) {
    return;
  }
  auto at = resources_.begin();
  std::advance(at, world_.chance_.below(static_cast<int>(resources_.size())));
  Resource& resource = at->second;
  if (resource.deleted) {
    return;
  }
  ++edits;
  ++resource.version;
  resource.foreign = true;
  // The others of a session stay, so that its deletion can be told from its never having landed.
  resource.deleted = world_.chance_.one_in(4) && !at->first.starts_with("kept");
  if (world_.chance_.one_in(2)) {
    resource.content = R"({"resourceType":"Observation","identifier":[{"value":")" +
                       at->first.substr(0, at->first.find('-')) + R"("}],"sum":"by hand"})";
  } else {
    resource.content.insert(resource.content.size() - 1, R"(,"note":"by hand")");
  }
  world_.note("edit " + at->first + (resource.deleted ? " deleted" : ""));
}

// What a revision is, to a server that takes no transactions.
Reply Server::mark(const std::string& name) {
  const std::size_t dash = name.find('-');
  const std::string revision = name.substr(0, dash) + "/" + name.substr(dash + 1);
  const bool there = created[revision]++ > 0;
  if (!there) {
    order.push_back(revision);
  }
  Reply reply = status(there ? 200 : 201);
  reply.headers.emplace_back("location", "Basic/" + name);
  return reply;
}

Reply Server::write_one(const Node& request, const Node& resource) {
  if (resource.string_at("resourceType") == "Basic") {
    return mark(std::string(resource.find("identifier")->first->string_at("value")));
  }
  const std::string id = find(request, resource);
  if (id.empty()) {
    Reply stale = status(manners_.stale);
    stale.body = outcome("conflict", "another version");
    return stale;
  }
  const bool there = resources_.count(id) > 0 && !resources_[id].content.empty();
  if (!there || request.string_at("method") != "POST") {
    write(id, resource);
  }
  Reply reply = status(there ? 200 : 201);
  reply.headers.emplace_back("location", "Observation/" + id);
  if (manners_.etags) {
    reply.headers.emplace_back("etag", etag(resources_[id]));
  }
  return reply;
}

Reply Server::commit_batch(const Node& bundle, bool whole) {
  Reply reply = status(200);
  reply.body = R"({"resourceType":"Bundle","type":"batch-response","entry":[)";
  const Node& entries = *bundle.find("entry");
  std::size_t left =
      whole ? entries.count
            : static_cast<std::size_t>(world_.chance_.below(static_cast<int>(entries.count)));
  for (const Node& entry : entries) {
    if (left-- == 0) {
      break;
    }
    const Reply one = write_one(*entry.find("request"), *entry.find("resource"));
    reply.body += reply.body.ends_with('[') ? "" : ",";
    reply.body += R"({"response":{"status":")" + std::to_string(one.status) + '"';
    for (const auto& [name, value] : one.headers) {
      reply.body += ",\"" + name + "\":";
      engine::json::write_string(value, reply.body);
    }
    reply.body += one.body.empty() ? "" : ",\"outcome\":" + one.body;
    reply.body += "}}";
  }
  reply.body += "]}";
  return reply;
}

Reply Server::commit_single(const Call& call) {
  const engine::json::NameTable names;
  engine::json::Document resource(names);
  engine::json::Document request(names);
  engine::json::Node* made = request.make_object();
  request.append(made, "method", request.make_string(call.method));
  request.append(made, "url", request.make_string(call.path.substr(1)));
  for (const auto& [name, value] : call.headers) {
    request.append(made, name == "If-None-Exist" ? "ifNoneExist" : "ifMatch",
                   request.make_string(value));
  }
  return resource.parse(call.body) ? write_one(*made, *resource.root()) : status(400);
}

Reply Server::commit(const Call& call, bool whole) {
  if (!call.path.empty()) {
    return commit_single(call);
  }
  const engine::json::NameTable names;
  engine::json::Document document(names);
  if (!document.parse(call.body).has_value()) {
    return status(400);
  }
  if (document.root()->string_at("type") == "batch") {
    return commit_batch(*document.root(), whole);
  }
  if (manners_.small) {
    return status(413);
  }
  Reply reply = status(200);
  reply.body = R"({"resourceType":"Bundle","type":"transaction-response","entry":[)";
  std::string all;
  std::string last;
  std::vector<std::pair<std::string, const Node*>> creates;
  std::vector<std::pair<std::string, const Node*>> updates;
  for (const Node& entry : *document.root()->find("entry")) {
    const Node& resource = *entry.find("resource");
    reply.body += reply.body.ends_with('[') ? "" : ",";
    if (entry.find("request") != nullptr) {
      const std::string id = find(*entry.find("request"), resource);
      if (id.empty()) {
        Reply stale = status(manners_.stale);
        stale.body = outcome("conflict", "another version");
        return stale;
      }
      Resource next = resources_.count(id) > 0 ? resources_[id] : Resource();
      const bool matched =
          entry.find("request")->string_at("method") == "POST" && !next.content.empty();
      if (!matched) {
        updates.emplace_back(id, &resource);
      }
      reply.body += next.content.empty() ? R"({"response":{"status":"201 Created",)"
                                         : R"({"response":{"status":"200 OK",)";
      next.version += next.content.empty() || matched ? 0 : 1;
      reply.body += R"("location":"Observation/)" + id + '"';
      if (manners_.etags) {
        reply.body += R"(,"etag":)";
        engine::json::write_string(etag(next), reply.body);
      }
      reply.body += "}}";
      continue;
    }
    if (resource.string_at("patient") == "unknown" &&
        world_.time_.milliseconds_now() < manners_.unknown_until) {
      Reply unknown = status(412);
      unknown.body = outcome("not-found", "Patient");
      return unknown;
    }
    const std::string revision(resource.find("revision")->text());
    last = std::string(resource.string_at("session")) + "/" + revision;
    all += (all.empty() ? "" : "+") + revision;
    creates.emplace_back(last, &resource);
    std::string place = last;
    std::replace(place.begin(), place.end(), '/', '-');
    reply.body +=
        R"({"response":{"status":"201 Created","location":"Observation/of-)" + place + "\"}}";
  }
  reply.body += "]}";
  for (const auto& [name, resource] : creates) {
    const std::string content = engine::json::to_text(*resource);
    if (content_.count(name) > 0 && content_[name] != content) {
      ++doubles;
    }
    content_[name] = content;
  }
  for (const auto& [id, resource] : updates) {
    write(id, *resource);
  }
  if (created[last]++ == 0) {
    order.push_back(last);
    maker[last] = all;
  }
  return reply;
}

}  // namespace simulation

#pragma once
// The simulated record server: conditional creates, updates of a version, one transaction at a
// time, all or nothing, or only batches or single writes, which may break off anywhere, also
// because it finds every transaction too large; and the people who change its resources behind the
// engine's back.

#include <cstdint>
#include <functional>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "engine/delivery/peer.h"
#include "engine/json/node.h"

namespace simulation {

class World;

class Server {
 public:
  struct Manners {
    bool etags = true;                  // names versions
    int stale = 412;                    // its answer to a version that is not the newest
    std::int64_t unknown_until = 0;     // when it comes to know the last patient
    const char* takes = "transaction";  // or "batch", or "create"
    bool small = false;                 // every transaction is too large for it
  };
  Server(World& world, Manners manners) : world_(world), manners_(manners) {}

  // Arrives; answers later, or never. Its commit does not depend on whether the sender is still
  // there.
  void arrive(const engine::delivery::Call& call,
              std::function<void(engine::delivery::Reply)> answer);
  // Somebody else changes or deletes one of the resources that revisions write anew.
  void edit_by_somebody();
  bool gives_etags() const { return manners_.etags; }
  bool takes_transactions() const {
    return std::string_view(manners_.takes) == "transaction" && !manners_.small;
  }

  // session/revision -> how often created; at most 1 by the server's own rule.
  std::map<std::string, int> created;
  std::vector<std::string> order;            // of first commits, "session/revision"
  std::map<std::string, std::string> maker;  // "session/revision" -> the revisions its bundle had
  int doubles = 0;                           // the same identifier with other content
  int edits = 0;                             // by somebody else
  int trampled = 0;                          // of these, overwritten though nobody was shown them
  // What a person looked at and let go: "Observation/s1-1 W/\"3\"", or without version when gone.
  std::set<std::string> shown;

 private:
  struct Resource {
    int version = 1;
    std::string content;
    bool foreign = false;  // the newest version is somebody else's
    bool deleted = false;
  };

  engine::delivery::Reply statement() const;
  // `whole`: otherwise it breaks off after some of the entries.
  engine::delivery::Reply commit(const engine::delivery::Call& call, bool whole);
  engine::delivery::Reply commit_batch(const engine::json::Node& bundle, bool whole);
  engine::delivery::Reply commit_single(const engine::delivery::Call& call);
  // One conditional write.
  engine::delivery::Reply write_one(const engine::json::Node& request,
                                    const engine::json::Node& resource);
  engine::delivery::Reply mark(const std::string& name);
  engine::delivery::Reply read(const std::string& id) const;
  engine::delivery::Reply search(const std::string& query) const;
  // The id that an update is about, new or not; empty when it names a version that is not newest.
  std::string find(const engine::json::Node& request, const engine::json::Node& resource) const;
  void write(const std::string& id, const engine::json::Node& resource);
  std::string etag(const Resource& resource) const;

  World& world_;
  const Manners manners_;
  std::map<std::string, std::string> content_;
  std::map<std::string, Resource> resources_;  // by id; the newest of an identifier sorts last
};

}  // namespace simulation

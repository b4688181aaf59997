#pragma once
// The record server as a synchronous function: Request -> Answered. Holds the store, the fault
// switches and the counters. Not thread safe: one request at a time. It keeps any resource of its
// types that names the elements its type cannot do without; it does not judge profiles, which is
// the sender's work.

#include <chrono>
#include <cstdint>
#include <map>
#include <memory>
#include <string>

#include "engine/base/seams.h"
#include "sandbox/record_server/context.h"
#include "sandbox/record_server/faults.h"
#include "sandbox/record_server/message.h"
#include "sandbox/record_server/target.h"

namespace sandbox::record_server {

class AppendFile;

// What the transport has to do with an answer.
struct Answered {
  Response response;
  bool drop = false;  // close the connection without sending anything
  bool slow = false;  // send the body in small pieces
  std::chrono::milliseconds delay{0};
};

class RecordServer {
 public:
  // base_url: "http://127.0.0.1:8080/fhir"; its path is where the FHIR interface lives. Beside it:
  // GET and POST /$faults (faults.h), GET and POST /$abilities (context.h), GET /$counters.
  RecordServer(std::string base_url, const engine::base::Clock& clock);
  ~RecordServer();

  // Keeps every committed write in a file, and reads what is there first. A torn last line, left by
  // a kill, is cut off. Errors: kIo, kCorrupt with the line.
  engine::base::Result<void> keep_in(const std::string& path);

  Answered handle(const Request& request);
  const Store& store() const { return store_; }

 private:
  Response serve_control(const Request& request, std::string_view path);
  Response serve_fhir(const Request& request, std::string_view rest);
  Response route(const Request& request, std::string_view rest, bool inside_bundle);
  Response serve_bundle(Context& context, const Request& request);
  Response serve_type(Context& context, const Request& request, const Target& target);
  Response serve_instance(Context& context, const Request& request, const Target& target);
  Response write(Context& context, const Request& request, std::string_view type,
                 std::string_view place);
  void commit();
  Context context();
  std::string counters() const;

  engine::json::NameTable names_;
  Store store_;
  Abilities abilities_;
  FaultPlan faults_;
  std::string base_url_;
  std::string base_path_;
  const engine::base::Clock& clock_;
  std::map<std::string, std::uint64_t> counts_;
  std::unique_ptr<AppendFile> file_;
};

}  // namespace sandbox::record_server

// The record server as a program on loopback.
//   record_server [--port N] [--file PATH] [--port-file PATH] [--load PATH]... [--body-max BYTES]
// Prints one line "listening on http://127.0.0.1:PORT/fhir" when ready, and ends on SIGTERM or
// SIGINT.

#include <chrono>
#include <csignal>
#include <cstdio>
#include <fstream>
#include <mutex>
#include <string>
#include <thread>

#include <CLI/CLI.hpp>

#include "engine/web/event_stream.h"
#include "engine/web/http_server.h"
#include "sandbox/record_server/record_server.h"

namespace {

using sandbox::record_server::Answered;
using sandbox::record_server::RecordServer;

class SystemClock : public engine::base::Clock {
 public:
  std::chrono::system_clock::time_point now() const override {
    return std::chrono::system_clock::now();
  }
  std::chrono::steady_clock::time_point steady() const override {
    return std::chrono::steady_clock::now();
  }
};

struct Options {
  std::uint16_t port = 0;
  std::string file;
  std::string port_file;
  std::vector<std::string> load;
  std::size_t body_max = engine::base::limits::kCheckedBytesMax;
};

// Sends bodies in ten pieces, some time apart, as a slow network brings them.
class Trickles {
 public:
  std::shared_ptr<engine::web::EventStream> start(std::string body) {
    auto stream = std::make_shared<engine::web::EventStream>();
    threads_.emplace_back([stream, text = std::move(body)] {
      const std::size_t piece = text.size() / 10 + 1;
      for (std::size_t at = 0; at < text.size(); at += piece) {
        std::this_thread::sleep_for(std::chrono::milliseconds(50));
        if (!stream->push(text.substr(at, piece))) {
          return;
        }
      }
      stream->close();
    });
    return stream;
  }

 private:
  std::vector<std::jthread> threads_;
};

engine::web::Response to_web(Answered answered, Trickles& trickles) {
  engine::web::Response response;
  response.status = answered.response.status;
  for (auto& [name, value] : answered.response.headers) {
    response.set(std::move(name), std::move(value));
  }
  response.delay = answered.delay;
  response.close_without_answer = answered.drop;
  if (answered.slow) {
    response.stream = trickles.start(std::move(answered.response.body));
  } else {
    response.body = std::move(answered.response.body);
  }
  return response;
}

sandbox::record_server::Request from_web(const engine::web::Request& request) {
  sandbox::record_server::Request own;
  own.method = request.method;
  own.target = request.target;
  for (const engine::web::Header& header : request.headers) {
    own.headers.emplace_back(header.name, header.value);
  }
  own.body = request.body;
  return own;
}

bool load_bundle(RecordServer& server, const std::string& path, const std::string& base_path) {
  std::ifstream in(path, std::ios::binary);
  std::string body;
  for (char c = 0; in.get(c);) {
    body += c;
  }
  const auto answer =
      server
          .handle({"POST", base_path, {{"Content-Type", "application/fhir+json"}}, std::move(body)})
          .response;
  if (answer.status != 200) {
    std::fprintf(stderr, "record_server: %s was refused: %s\n", path.c_str(), answer.body.c_str());
  }
  return answer.status == 200;
}

int serve(const Options& options) {
  // Blocked before any thread starts, so that only sigwait below takes them.
  sigset_t ending;
  sigemptyset(&ending);
  sigaddset(&ending, SIGTERM);
  sigaddset(&ending, SIGINT);
  pthread_sigmask(SIG_BLOCK, &ending, nullptr);

  const SystemClock clock;
  std::mutex mutex;  // also keeps requests out until the server below is set up
  std::unique_ptr<RecordServer> server;
  Trickles trickles;
  engine::web::HttpServer::Config config;
  config.port = options.port;
  config.body_bytes_max = options.body_max;
  std::unique_lock<std::mutex> setting_up(mutex);
  auto http = engine::web::HttpServer::start(
      config, engine::web::answering([&](const engine::web::Request& request) {
        const std::lock_guard<std::mutex> lock(mutex);
        return to_web(server->handle(from_web(request)), trickles);
      }));
  if (!http) {
    std::fprintf(stderr, "record_server: %s\n", http.error().text().c_str());
    return 2;
  }
  const std::string base = "http://127.0.0.1:" + std::to_string((*http)->port()) + "/fhir";
  server = std::make_unique<RecordServer>(base, clock);
  if (!options.file.empty()) {
    const auto kept = server->keep_in(options.file);
    if (!kept) {
      std::fprintf(stderr, "record_server: %s\n", kept.error().text().c_str());
      return 2;
    }
  }
  for (const std::string& path : options.load) {
    if (!load_bundle(*server, path, "/fhir")) {
      return 2;
    }
  }
  setting_up.unlock();
  std::printf("listening on %s\n", base.c_str());
  std::fflush(stdout);
  if (!options.port_file.empty()) {
    std::ofstream(options.port_file + ".new") << (*http)->port() << '\n';
    std::rename((options.port_file + ".new").c_str(), options.port_file.c_str());
  }
  int signal = 0;
  sigwait(&ending, &signal);
  (*http)->stop(std::chrono::seconds(1));
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("A small FHIR R4 record server for demonstrations and tests, on loopback only");
  app.add_option("--port", options.port, "port; 0 takes a free one");
  app.add_option("--file", options.file, "keep every committed write in this file");
  app.add_option("--port-file", options.port_file, "write the port here when ready");
  app.add_option("--load", options.load, "Bundles to apply before listening");
  app.add_option("--body-max", options.body_max, "bytes of a body; answers 413 above that");
  CLI11_PARSE(app, argc, argv);
  return serve(options);
}

#include "engine/cli/batch.h"

#include <cerrno>
#include <cstdio>
#include <cstring>

#include <malloc.h>
#include <unistd.h>

#include "engine/base/limits.h"
#include "engine/cli/commands.h"
#include "engine/json/write.h"

namespace engine::cli {
namespace {

namespace limits = base::limits;

constexpr std::size_t kReadBytes = std::size_t{64} << 10;
constexpr std::size_t kFlushBytes = std::size_t{256} << 10;
constexpr int kKeptBytes = 32 << 20;

bool write_all(std::string& out) {
  std::string_view left = out;
  while (!left.empty()) {
    const ssize_t written = ::write(STDOUT_FILENO, left.data(), left.size());
    if (written < 0) {
      if (errno == EINTR) {
        continue;
      }
      std::fprintf(stderr, "chartferry: cannot write the answers: %s\n", std::strerror(errno));
      return false;
    }
    left.remove_prefix(static_cast<std::size_t>(written));
  }
  out.clear();
  return true;
}

class LineServer {
 public:
  LineServer(const json::NameTable& names, const BatchAnswer& answer)
      : document_(names), answer_(answer) {}

  void serve(std::string_view line, std::string& out) {
    if (line.find_first_not_of(" \t\r") == std::string_view::npos) {
      return;
    }
    json::ParseLimits parse_limits;
    parse_limits.bytes_max = limits::kBatchLineBytesMax;
    // One level more than a document: the request around it.
    parse_limits.depth_max = limits::kJsonDepthMax + 1;
    const base::Result<void> read = document_.parse(line, parse_limits);
    if (!read || !document_.root()->is_object()) {
      refuse(read ? "a JSON object is expected on each line" : read.error().text(), out);
      return;
    }
    const json::Node& request = *document_.root();
    const json::Node* const id = request.find("id");
    out += R"({"id":)";
    out += id != nullptr ? json::to_text(*id) : "null";
    const std::size_t start = out.size();
    if (const base::Result<void> answered = answer_(request, out); !answered) {
      out.resize(start);
      append_member("error", answered.error().text(), out);
    }
    out += "}\n";
  }

  static void refuse(std::string_view why, std::string& out) {
    out += R"({"id":null)";
    append_member("error", why, out);
    out += "}\n";
  }

 private:
  json::Document document_;
  const BatchAnswer& answer_;
};

}  // namespace

void append_member(std::string_view name, std::string_view text, std::string& out) {
  out += ',';
  json::write_string(name, out);
  out += ':';
  json::write_string(text, out);
}

int run_batch(const json::NameTable& names, const BatchAnswer& answer) {
  // Every line frees what the next one needs again; giving it back to the system in between costs
  // page faults.
  ::mallopt(M_TRIM_THRESHOLD, kKeptBytes);
  ::mallopt(M_MMAP_THRESHOLD, kKeptBytes);
  LineServer server(names, answer);
  std::string pending;
  std::string out;
  std::string block(kReadBytes, '\0');
  bool skipping = false;  // inside a line that is too long
  while (true) {
    const ssize_t got = ::read(STDIN_FILENO, block.data(), block.size());
    if (got < 0) {
      if (errno == EINTR) {
        continue;
      }
      std::fprintf(stderr, "chartferry: cannot read the requests: %s\n", std::strerror(errno));
      return kUsage;
    }
    std::string_view fresh(block.data(), static_cast<std::size_t>(got));
    for (std::size_t end = fresh.find('\n'); end != std::string_view::npos;
         end = fresh.find('\n')) {
      if (!skipping) {
        pending.append(fresh.substr(0, end));
        server.serve(pending, out);
      }
      skipping = false;
      pending.clear();
      fresh.remove_prefix(end + 1);
      if (out.size() > kFlushBytes && !write_all(out)) {
        return kUsage;
      }
    }
    if (!skipping) {
      pending.append(fresh);
      if (pending.size() > limits::kBatchLineBytesMax) {
        LineServer::refuse("a line of more than 64 MiB", out);
        pending.clear();
        skipping = true;
      }
    }
    if (got == 0 && !skipping) {
      server.serve(pending, out);
    }
    if (!write_all(out)) {
      return kUsage;
    }
    if (got == 0) {
      return kOk;
    }
  }
}

}  // namespace engine::cli

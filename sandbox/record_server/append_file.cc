#include "sandbox/record_server/append_file.h"

#include <fstream>

#include <fcntl.h>
#include <unistd.h>

#include "engine/json/write.h"

namespace sandbox::record_server {
namespace {

using engine::base::Error;
using engine::base::ErrorCode;
using engine::json::Node;

std::string line_of(const std::vector<Change>& changes) {
  std::string out = "[";
  for (const Change& change : changes) {
    out += out.size() > 1 ? R"(,{"type":")" : R"({"type":")";
    out += change.record->type + R"(","id":")" + change.record->id + R"(","method":")" +
           change.version->method + R"(","updated":")" + change.version->updated + '"';
    if (!change.version->deleted()) {
      out += ",\"resource\":" + change.version->text;
    }
    out += '}';
  }
  return out + "]\n";
}

// True when the line made sense.
bool replay_line(std::string_view line, engine::json::Document& document, Store& store) {
  if (!document.parse(line) || !document.root()->is_array()) {
    return false;
  }
  store.begin();
  for (const Node& change : *document.root()) {
    const std::string_view type = change.string_at("type");
    const std::string_view id = change.string_at("id");
    const Node* resource = change.find("resource");
    const Record* record = store.find(type, id);
    if (type.empty() || id.empty() || (resource == nullptr && record == nullptr)) {
      return false;
    }
    if (resource == nullptr) {
      store.erase(*record, change.string_at("updated"));
    } else {
      store.put(type, id, *resource, change.string_at("updated"), change.string_at("method"));
    }
  }
  return store.commit();
}

}  // namespace

engine::base::Result<std::unique_ptr<AppendFile>> AppendFile::open(
    const std::string& path, const engine::json::NameTable& names, Store& store) {
  std::string text;
  if (std::ifstream in(path, std::ios::binary | std::ios::ate); in) {
    text.resize(static_cast<std::size_t>(in.tellg()));
    in.seekg(0);
    in.read(text.data(), static_cast<std::streamsize>(text.size()));
  }
  const std::size_t whole = text.rfind('\n') == std::string::npos ? 0 : text.rfind('\n') + 1;
  engine::json::Document document(names);
  std::size_t line_number = 0;
  for (std::size_t at = 0; at < whole;) {
    const std::size_t end = text.find('\n', at);
    ++line_number;
    if (!replay_line(std::string_view(text).substr(at, end - at), document, store)) {
      return Error(ErrorCode::kCorrupt, "a line of the record server's file makes no sense",
                   path + ':' + std::to_string(line_number));
    }
    at = end + 1;
  }
  const int descriptor = ::open(path.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
  if (descriptor < 0 ||
      (whole < text.size() && ::ftruncate(descriptor, static_cast<off_t>(whole)) != 0)) {
    return Error(ErrorCode::kIo, "the record server's file cannot be opened for writing", path);
  }
  return std::unique_ptr<AppendFile>(new AppendFile(descriptor, whole));
}

AppendFile::~AppendFile() {
  ::close(descriptor_);
}

bool AppendFile::append(const std::vector<Change>& changes) {
  if (broken_) {
    return false;
  }
  const std::string line = line_of(changes);
  std::size_t done = 0;
  ssize_t wrote = 1;
  while (done < line.size() && wrote > 0) {
    wrote = ::write(descriptor_, line.data() + done, line.size() - done);
    done += wrote > 0 ? static_cast<std::size_t>(wrote) : 0;
  }
  if (done < line.size() || ::fdatasync(descriptor_) != 0) {
    // Half a line must not be followed by another one.
    broken_ = ::ftruncate(descriptor_, static_cast<off_t>(bytes_)) != 0;
    return false;
  }
  bytes_ += line.size();
  return true;
}

}  // namespace sandbox::record_server

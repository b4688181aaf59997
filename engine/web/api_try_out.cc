// The routes of trying changed maps: the files in force, one document or recorded traffic through
// changed ones.

#include <limits>
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "engine/base/limits.h"
#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/web/api.h"
#include "engine/web/asked.h"

namespace engine::web {
namespace {

constexpr const char* kJson = "application/json";
// Names are those of files in one folder and folders below it.
constexpr std::size_t kNameBytesMax = 200;
constexpr std::string_view kNameLetters =
    "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-/";

base::Error bad(std::string text) {
  return base::Error(base::ErrorCode::kInvalid, std::move(text));
}

bool is_file_name(std::string_view name) {
  const bool kind = name.ends_with(".map") || name.ends_with(".csv") || name.ends_with(".json");
  return kind && name.size() <= kNameBytesMax && !name.starts_with('/') &&
         name.find("..") == std::string_view::npos && name.find("//") == std::string_view::npos &&
         name.find_first_not_of(kNameLetters) == std::string_view::npos;
}

base::Result<std::vector<base::SourceFile>> read_files(const json::Node& wish) {
  std::vector<base::SourceFile> out;
  const json::Node* files = wish.find("files");
  if (files == nullptr) {
    return out;
  }
  if (!files->is_object()) {
    return bad("'files' is an object: each member is a file's name with its text");
  }
  if (files->count > base::limits::kTriedFilesMax) {
    return bad("'files' has at most " + std::to_string(base::limits::kTriedFilesMax) + " files");
  }
  for (const json::Node& file : *files) {
    const std::string name(file.name_text());
    if (!is_file_name(name) || !file.is_string()) {
      return bad("'files' has '" + name.substr(0, kNameBytesMax) +
                 "': a name ends in .map, .csv or .json, is made of letters, digits, '.', '_', "
                 "'-' and '/', and its value is the file's text");
    }
    out.push_back({name, std::string(file.text())});
  }
  return out;
}

base::Result<void> read_document(const json::Node& wish, TryOutWish& out) {
  const json::Node* document = wish.find("document");
  out.session = wish.string_at("session");
  if ((document != nullptr) == !out.session.empty() ||
      (document != nullptr && !document->is_object())) {
    return bad(
        "send either 'document', a session document, or 'session', the id of one that was "
        "taken in");
  }
  if (document != nullptr) {
    out.document = json::to_text(*document);
  }
  const auto revision = whole_at(wish, "revision", base::limits::kRevisionMax);
  if (!revision) {
    return revision.error();
  }
  out.revision = static_cast<std::uint32_t>(*revision);
  return {};
}

base::Result<void> read_traffic(const json::Node& wish, TryOutWish& out) {
  out.traffic = true;
  auto since = instant_at(wish, "since");
  auto until = instant_at(wish, "until");
  if (!since || !until) {
    return since ? until.error() : since.error();
  }
  out.since = std::move(*since);
  out.until = std::move(*until);
  const json::Node* values = wish.find("values");
  out.values = values != nullptr && values->is_boolean() && values->boolean;
  const auto limit = whole_at(wish, "limit", base::limits::kTrafficMax);
  const auto before = whole_at(wish, "before", std::numeric_limits<std::int64_t>::max());
  if (!limit || !before) {
    return limit ? before.error() : limit.error();
  }
  out.limit = static_cast<std::size_t>(*limit);
  out.before = *before;
  return {};
}

base::Result<TryOutWish> read_wish(const std::string& body, bool traffic) {
  static const json::NameTable names;
  json::Document document(names);
  if (auto parsed = document.parse(body); !parsed || !document.root()->is_object()) {
    return bad("send a JSON object with 'files' and what to try them on" +
               (parsed ? std::string() : ": " + parsed.error().text()));
  }
  if (!document.duplicates().empty()) {
    return bad("'" + std::string(document.duplicates().front()->name_text()) +
               "' stands here a second time");
  }
  const json::Node& wish = *document.root();
  TryOutWish out;
  auto files = read_files(wish);
  if (!files) {
    return std::move(files).error();
  }
  out.files = std::move(*files);
  const auto read = traffic ? read_traffic(wish, out) : read_document(wish, out);
  if (!read) {
    return read.error();
  }
  return out;
}

// What of the recorded traffic is asked for.
std::string range_of(const TryOutWish& wish) {
  std::string out;
  out += wish.since.empty() ? "" : ", from " + wish.since;
  out += wish.until.empty() ? "" : ", before " + wish.until;
  out += wish.before == 0 ? "" : ", before record " + std::to_string(wish.before);
  return out;
}

std::vector<journal::Record> reads_of(const TryOutTold& told, bool traffic,
                                      const std::string& range) {
  std::vector<journal::Record> out;
  if (!told.asked_with.empty()) {
    out.emplace_back().why =
        "recorded traffic asked with changed maps, set " + told.asked_with + range;
  }
  for (const TryOutTold::Read& read : told.reads) {
    journal::Record& record = out.emplace_back();
    record.session = read.session;
    record.revision = read.revision;
    record.why = traffic ? "differences that changed maps would make"
                         : "session tried out with changed maps";
  }
  return out;
}

Response told_error(const base::Error& error) {
  return error.code == base::ErrorCode::kLimit ? problem(503, "transient", error.detail)
                                               : from_error(error);
}

// Waits for several records; the first that cannot be written is the answer.
class Noting {
 public:
  Noting(Answer answer, Response response, std::size_t count)
      : answer_(std::move(answer)), response_(std::move(response)), left_(count) {}
  void written(const base::Result<journal::Outcome>& outcome) {
    if (!outcome) {
      failed_ = true;
      answer_(from_error(outcome.error()));  // the first answer counts
    }
    if (--left_ == 0 && !failed_) {
      answer_(std::move(response_));
    }
  }

 private:
  Answer answer_;
  Response response_;
  std::size_t left_;
  bool failed_ = false;
};

}  // namespace

void Api::answer_noted(const Request& request, std::vector<journal::Record> records,
                       Response response, const Answer& answer) {
  if (records.empty()) {
    answer(std::move(response));
    return;
  }
  // Records are told on the writer's thread, one after the other.
  const auto noting = std::make_shared<Noting>(answer, std::move(response), records.size());
  for (journal::Record& record : records) {
    if (!world_.journal.submit(journal::Change(as_read(request, std::move(record))),
                               [noting](const base::Result<journal::Outcome>& outcome) {
                                 noting->written(outcome);
                               })) {
      answer(problem(503, "transient", "the engine has as much in hand as it can"));
      return;
    }
  }
}

// Maps and tables hold nothing of a patient.
void Api::get_mapping_files(Request&, const Segments& at, const Answer& answer) {
  constexpr std::size_t kWithName = 3;
  const bool one = at.size() == kWithName;
  auto text = one ? world_.try_out.file(at[2]) : world_.try_out.files();
  answer(text ? Response(200, one ? "text/plain; charset=utf-8" : kJson, std::move(*text))
              : from_error(text.error()));
}

void Api::post_try_out(Request& request, const Segments& at, const Answer& answer) {
  auto wish = read_wish(request.body, at.size() > 1);
  if (!wish) {
    answer(problem(400, "structure", wish.error().detail));
    return;
  }
  const bool traffic = wish->traffic;
  const std::string range = range_of(*wish);
  request.body.clear();
  world_.try_out.run(std::move(*wish), [this, who = std::move(request), traffic, range,
                                        answer](base::Result<TryOutTold> told) {
    if (!told) {
      answer(told_error(told.error()));
      return;
    }
    auto reads = reads_of(*told, traffic, range);
    answer_noted(who, std::move(reads), Response(200, kJson, std::move(told->body)), answer);
  });
}

}  // namespace engine::web

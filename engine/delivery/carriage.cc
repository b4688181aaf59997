#include "engine/delivery/carriage.h"

#include <algorithm>
#include <charconv>
#include <memory>
#include <set>
#include <utility>
#include <vector>

#include "engine/delivery/landing.h"
#include "engine/delivery/location.h"
#include "engine/delivery/lookup.h"
#include "engine/delivery/reference_order.h"
#include "engine/delivery/verdict.h"
#include "engine/fhir/issue.h"
#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::delivery {
namespace {

using json::Document;
using json::Node;

const json::NameTable& names() {
  static const json::NameTable table;
  return table;
}

constexpr int kTooLargeStatus = 413;

// A query's bar must not stand plain in a URL (RFC 3986 section 3.4); the bundle has it so. What
// would end the request line is no more plain.
std::string url_of(std::string_view text) {
  static constexpr char kDigits[] = "0123456789ABCDEF";
  std::string out;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '|' || byte <= ' ' || byte >= 0x7F) {
      out += {'%', kDigits[byte >> 4U], kDigits[byte & 15U]};
    } else {
      out += c;
    }
  }
  return out;
}

// Where a resource landed may not be said; when it is, it is of the type that was sent.
bool may_be_place(std::string_view location, const Node& request) {
  const std::string resource = resource_of(location);
  return resource.empty() || type_of(resource) == type_of(request.string_at("url"));
}

// Empty, as was asked for, or a resource: a page of a portal on the way also comes with 200.
bool is_of_a_record_server(const Reply& reply) {
  const bool blank = reply.body.find_first_not_of(" \t\r\n") == std::string::npos;
  Document document(names());
  return blank ||
         (!reply.body_cut && document.parse(reply.body) &&
          !document.root()->string_at("resourceType").empty() && !says_failure(document.root()));
}

Reply refusal(const char* code, std::string_view type) {
  fhir::Issue issue;
  issue.code = code;
  issue.text = std::string(type) + " by its identifier";
  Reply reply;
  reply.status = 412;
  reply.body = fhir::to_operation_outcome({&issue, 1});
  return reply;
}

class Carriage : public std::enable_shared_from_this<Carriage> {
 public:
  Carriage(Peer& peer, Mode mode, Call call, std::function<void(Reply)> done)
      : peer_(peer), mode_(mode), call_(std::move(call)), done_(std::move(done)) {}

  void start() {
    Node* list = document_.parse(call_.body) ? document_.root()->find("entry") : nullptr;
    for (Node* entry = list != nullptr ? list->first : nullptr; entry != nullptr;
         entry = entry->next) {
      Item item;
      item.entry = entry;
      item.full_url = entry->string_at("fullUrl");
      item.request = entry->find("request");
      item.resource = entry->find("resource");
      if (item.request == nullptr || item.resource == nullptr) {
        finish(refusal("required", "An entry's request"));
        return;
      }
      items_.push_back(std::move(item));
    }
    for (const Item& item : items_) {
      order_.add(item.full_url, *item.resource);
    }
    order_.settle();
    searches_ = order_.searches();
    resolve();
  }

 private:
  struct Item {
    Node* entry = nullptr;
    const Node* request = nullptr;
    Node* resource = nullptr;
    std::string full_url;
    bool landed = false;
    bool too_large = false;  // by itself; the others go on without it
    LandedEntry row;

    // Where it is found: "Observation?identifier=..." or, written under an id, that place.
    std::string place() const {
      const std::string_view query = request->string_at("ifNoneExist");
      return std::string(request->string_at("url")) + (query.empty() ? "" : "?") +
             std::string(query);
    }
  };
  using Step = void (Carriage::*)(Reply);

  void ask(Call call, Step next) {
    peer_.call(std::move(call), [self = shared_from_this(), next](Reply reply) {
      ((*self).*next)(std::move(reply));
    });
  }

  void resolve() {
    if (searches_.empty()) {
      next_wave();
      return;
    }
    ask(call_for(*searches_.begin(), call_.request_id), &Carriage::resolved);
  }

  void resolved(Reply reply) {
    const std::string place = *searches_.begin();
    const std::string type = place.substr(0, place.find('?'));
    Sight sight;
    const bool said = read_sight(place, reply, sight);
    if (sight.kind == Sight::Kind::kOther) {
      finish(refusal("not-found", type));
    } else if (!said || sight.kind == Sight::Kind::kForbidden) {
      finish(std::move(reply));
    } else if (sight.kind == Sight::Kind::kSeveral) {
      finish(refusal("multiple-matches", type));
    } else if (sight.kind != Sight::Kind::kThere) {
      finish(refusal("not-found", type));
    } else {
      order_.point_to(document_, place, sight.resource);
      searches_.erase(searches_.begin());
      resolve();
    }
  }

  void next_wave() {
    wave_.clear();
    for (std::size_t i = 0; i < items_.size(); ++i) {
      const bool full = mode_ == Mode::kSingle && !wave_.empty();
      if (!items_[i].landed && !items_[i].too_large && !full && !order_.waits(i)) {
        wave_.push_back(i);
      }
    }
    if (!wave_.empty()) {
      mode_ == Mode::kBatch ? send_batch() : send_single();
    } else if (failure_) {
      finish(std::move(*failure_));
    } else if (std::all_of(items_.begin(), items_.end(), [](const Item& i) { return i.landed; })) {
      finish(response());
    } else {
      finish(refusal("invalid", "Entries that refer to each other in a circle; no order"));
    }
  }

  void send_single() {
    const Item& item = items_[wave_.front()];
    Call call(std::string(item.request->string_at("method")),
              "/" + url_of(item.request->string_at("url")), json::to_text(*item.resource),
              call_.request_id);
    static constexpr std::pair<const char*, const char*> kHeaders[] = {
        {"ifNoneExist", "If-None-Exist"}, {"ifMatch", "If-Match"}};
    for (const auto& [member, header] : kHeaders) {
      if (const std::string_view value = item.request->string_at(member); !value.empty()) {
        call.headers.emplace_back(header, value);
      }
    }
    sent_ = true;
    ask(std::move(call), &Carriage::single_answered);
  }

  void single_answered(Reply reply) {
    Item& item = items_[wave_.front()];
    resent_ = resent_ || reply.resent;
    if (reply.fate == Reply::Fate::kAnswered && reply.status == kTooLargeStatus) {
      // Nothing of it is there, and what does not need it can land or be taken back all the same.
      item.too_large = true;
      if (!failure_) {
        failed_ = &item;
        failure_ = std::make_unique<Reply>(std::move(reply));
      }
      next_wave();
      return;
    }
    if (reply.fate != Reply::Fate::kAnswered || (reply.status != 200 && reply.status != 201) ||
        !is_of_a_record_server(reply) || !may_be_place(reply.header("location"), *item.request)) {
      failed_ = &item;
      finish(std::move(reply));
      return;
    }
    item.landed = true;
    item.row.status = reply.status;
    item.row.location = place_of(reply.header("location"));
    item.row.etag = entity_tag_of(reply.header("etag"));
    place();
  }

  void send_batch() {
    std::string body = R"({"resourceType":"Bundle","type":"batch","entry":[)";
    for (const std::size_t i : wave_) {
      body += body.ends_with('[') ? "" : ",";
      body += json::to_text(*items_[i].entry);
    }
    body += "]}";
    sent_ = true;
    ask(Call("POST", "", std::move(body), call_.request_id), &Carriage::batch_answered);
  }

  void batch_answered(Reply reply) {
    Document document(names());
    resent_ = resent_ || reply.resent;
    const bool bundle = reply.fate == Reply::Fate::kAnswered && reply.status == 200 &&
                        !reply.body_cut && document.parse(reply.body) &&
                        document.root()->string_at("type") == "batch-response";
    const Node* list = bundle ? document.root()->find("entry") : nullptr;
    if (list == nullptr || list->count != wave_.size()) {
      finish(std::move(reply));
      return;
    }
    bool strange = false;
    const Node* entry = list->first;
    for (const std::size_t i : wave_) {
      const Node* response = entry->find("response");
      entry = entry->next;
      const std::string_view status =
          response != nullptr ? response->string_at("status") : std::string_view();
      LandedEntry& row = items_[i].row;
      std::from_chars(status.data(), status.data() + status.size(), row.status);
      items_[i].landed = row.status >= 200 && row.status < 300;
      if (items_[i].landed) {
        row.location = place_of(response->string_at("location"));
        row.etag = entity_tag_of(response->string_at("etag"));
        strange = strange || !may_be_place(row.location, *items_[i].request) ||
                  says_failure(response->find("outcome"));
      } else if (!failure_) {
        failed_ = &items_[i];
        failure_ = std::make_unique<Reply>();
        failure_->status = row.status;
        const Node* outcome = response != nullptr ? response->find("outcome") : nullptr;
        failure_->body = outcome != nullptr ? json::to_text(*outcome) : std::string();
      }
      resent_ = resent_ || (!items_[i].landed && (row.status < 400 || row.status >= 500));
    }
    if (strange) {
      finish(std::move(reply));  // the answer to something else, which is no landing
      return;
    }
    place();
  }

  // A create that found something need not say where, nor an update that looked for what it
  // changes; then a search does.
  void place() {
    for (const std::size_t i : wave_) {
      Item& item = items_[i];
      if (!item.landed || !resource_of(item.row.location).empty()) {
        continue;
      }
      const std::string where = item.place();
      if (where.find('?') != std::string::npos) {
        placing_ = i;
        ask(call_for(where, call_.request_id), &Carriage::placed);
        return;
      }
      item.row.location = resource_of(where);
      if (item.row.location.empty()) {
        Reply nowhere;  // nothing can refer to it
        nowhere.status = item.row.status;
        finish(std::move(nowhere));
        return;
      }
    }
    for (const std::size_t i : wave_) {
      if (items_[i].landed) {
        order_.point_to(document_, items_[i].full_url, resource_of(items_[i].row.location));
        order_.landed(i);
      }
    }
    if (failure_ && mode_ == Mode::kBatch) {
      finish(std::move(*failure_));
    } else {
      next_wave();
    }
  }

  void placed(Reply reply) {
    Item& item = items_[placing_];
    Sight sight;
    if (!read_sight(item.place(), reply, sight) || sight.kind != Sight::Kind::kThere) {
      finish(std::move(reply));  // a searchset proves no landing
      return;
    }
    item.row.location = sight.resource;
    place();
  }

  Reply response() const {
    Reply reply;
    reply.status = 200;
    reply.body = R"({"resourceType":"Bundle","type":"transaction-response","entry":[)";
    for (const Item& item : items_) {
      reply.body += reply.body.ends_with('[') ? "" : ",";
      reply.body += R"({"response":{"status":")" + std::to_string(item.row.status) + '"';
      const std::pair<const char*, const std::string*> members[] = {
          {"location", &item.row.location}, {"etag", &item.row.etag}};
      for (const auto& [name, value] : members) {
        if (!value->empty()) {
          reply.body += std::string(",\"") + name + "\":";
          json::write_string(*value, reply.body);
        }
      }
      reply.body += "}}";
    }
    reply.body += "]}";
    return reply;
  }

  void finish(Reply reply) {
    reply.partly =
        std::any_of(items_.begin(), items_.end(), [](const Item& item) { return item.landed; });
    reply.resent = resent_;
    // What is away before anything was written says nothing of the message.
    if (!sent_ && reply.fate == Reply::Fate::kNoAnswer) {
      reply.fate = Reply::Fate::kNotSent;
    }
    if (failed_ != nullptr) {
      reply.about = std::string(failed_->resource->string_at("resourceType")) + " " +
                    failed_->full_url + " (" +
                    std::to_string(json::to_text(*failed_->resource).size()) + " bytes)";
    }
    // About one resource, not about the address.
    const bool about_one = reply.status == 404 || reply.status == 405 || reply.status == 501;
    if (failed_ != nullptr && reply.fate == Reply::Fate::kAnswered && about_one) {
      reply.status = failed_->request->find("ifMatch") != nullptr ? 412 : 422;
    }
    done_(std::move(reply));
  }

  Peer& peer_;
  const Mode mode_;
  const Call call_;
  std::function<void(Reply)> done_;
  Document document_{names()};
  std::vector<Item> items_;
  ReferenceOrder order_;
  std::set<std::string> searches_;  // not resolved yet
  std::vector<std::size_t> wave_;
  std::size_t placing_ = 0;
  bool sent_ = false;
  bool resent_ = false;  // or an entry failed in a way that says nothing of it
  const Item* failed_ = nullptr;
  std::unique_ptr<Reply> failure_;
};

}  // namespace

std::string_view name_of(Mode mode) {
  switch (mode) {
    case Mode::kTransaction:
      return "transaction";
    case Mode::kBatch:
      return "batch";
    case Mode::kSingle:
      return "single";
  }
  return "transaction";
}

Mode mode_of(const Node& statement) {
  const Node* rest = statement.find("rest");
  for (const Node* one = rest != nullptr && rest->is_array() ? rest->first : nullptr;
       one != nullptr; one = one->next) {
    if (one->string_at("mode") != "server") {
      continue;
    }
    Mode mode = Mode::kSingle;
    const Node* list = one->find("interaction");
    for (const Node* at = list != nullptr ? list->first : nullptr; at != nullptr; at = at->next) {
      if (at->string_at("code") == "transaction") {
        return Mode::kTransaction;
      }
      mode = at->string_at("code") == "batch" ? Mode::kBatch : mode;
    }
    return mode;
  }
  return Mode::kTransaction;
}

void carry_out(Peer& peer, Mode mode, Call call, std::function<void(Reply)> done) {
  std::make_shared<Carriage>(peer, mode, std::move(call), std::move(done))->start();
}

}  // namespace engine::delivery

#include "engine/cli/ward_file.h"

#include <algorithm>
#include <set>
#include <system_error>
#include <utility>

#include "engine/base/limits.h"
#include "engine/cli/read_file.h"
#include "engine/json/document.h"
#include "engine/json/write.h"
#include "engine/web/sheet_limits.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;

// Where the reader of the error has to look.
class Place {
 public:
  Place(std::string_view text, std::string name) : text_(text), name_(std::move(name)) {}
  std::string of(const json::Node& node) const {
    const json::Position at = json::locate(text_, node.offset);
    return name_ + ":" + std::to_string(at.line) + ":" + std::to_string(at.column);
  }

 private:
  std::string_view text_;
  std::string name_;
};

base::Result<void> check_members(const json::Node& object, const std::set<std::string_view>& known,
                                 const std::string& what, const Place& place) {
  if (!object.is_object()) {
    return Error(ErrorCode::kInvalid, what + " is a JSON object", place.of(object));
  }
  for (const json::Node& member : object) {
    if (known.count(member.name_text()) == 0) {
      std::string names;
      for (const std::string_view name : known) {
        names += (names.empty() ? "" : ", ") + std::string(name);
      }
      return Error(
          ErrorCode::kInvalid,
          what + " has no member '" + std::string(member.name_text()) + "'; it may have: " + names,
          place.of(member));
    }
  }
  return {};
}

base::Result<void> check_text(const json::Node& object, std::string_view member,
                              const std::string& what, const Place& place) {
  if (object.string_at(member).empty()) {
    return Error(ErrorCode::kInvalid, what + " needs a text '" + std::string(member) + "'",
                 place.of(object));
  }
  return {};
}

// A session document around parts of the ward file: what the core says of it, it says of them.
std::string frame_of(const json::Node& root, const json::Node* patient,
                     const json::Node* therapist) {
  std::string out =
      R"({"resourceType":"TherapySession","identifier":{"system":"urn:ward","value":"w"},)"
      R"("revision":1,"status":"open","period":{"start":"2000-01-01T00:00:00Z"})";
  const auto add = [&out](const char* name, const json::Node* node) {
    if (node != nullptr) {
      out += std::string(",\"") + name + "\":" + json::to_text(*node);
    }
  };
  add("facility", root.find("facility"));
  if (patient == nullptr) {
    out += R"(,"patient":{"identifier":{"system":"urn:ward","value":"p"}})";
  } else {
    for (const char* name : {"patient", "order", "earlier"}) {
      add(name, patient->find(name));
    }
  }
  if (therapist == nullptr) {
    out += R"(,"therapist":{"display":"t","discipline":"RT","role":"therapist"})";
  } else {
    add("therapist", therapist);
  }
  return out + "}";
}

base::Result<void> judge(const std::string& document, const std::string& what,
                         const json::Node& node, const Place& place, const Admit& admit) {
  const therapy::Translator::Admission said = admit(document);
  const auto wrong = std::find_if(said.issues.begin(), said.issues.end(), [](const auto& issue) {
    return issue.severity <= fhir::Severity::kError;
  });
  if (said.admitted) {
    return {};
  }
  const bool told = wrong != said.issues.end();
  return Error(ErrorCode::kInvalid,
               what + ": " +
                   (told ? wrong->expression + ": " + wrong->text
                         : std::string("is refused as part of a session document")),
               place.of(node));
}

// When to stop and whom to call, as a patient's sheet tells it: {"stop": ["..."], "call": ["..."]}.
base::Result<void> check_sheet(const json::Node& owner, const Place& place) {
  const json::Node* sheet = owner.find("sheet");
  if (sheet == nullptr) {
    return {};
  }
  if (auto good = check_members(*sheet, {"stop", "call"}, "'sheet'", place); !good) {
    return good;
  }
  for (const json::Node& lines : *sheet) {
    bool good = lines.is_array() && lines.count > 0 && lines.count <= base::limits::kSheetLinesMax;
    for (const json::Node& line : lines) {
      good = good && line.is_string() && !line.text().empty() &&
             line.text().size() <= base::limits::kSheetLineBytesMax;
    }
    if (!good) {
      return Error(ErrorCode::kInvalid,
                   "'" + std::string(lines.name_text()) + "' is a list of 1 to " +
                       std::to_string(base::limits::kSheetLinesMax) + " texts of at most " +
                       std::to_string(base::limits::kSheetLineBytesMax) + " bytes",
                   place.of(lines));
    }
  }
  return {};
}

base::Result<void> check_patient(const json::Node& root, const json::Node& one,
                                 std::set<std::string>& beds, const Place& place,
                                 const Admit& admit) {
  const std::string what = "a patient";
  if (auto good =
          check_members(one, {"bed", "name", "patient", "order", "earlier", "sheet"}, what, place);
      !good) {
    return good;
  }
  for (const char* member : {"bed", "name"}) {
    if (auto good = check_text(one, member, what, place); !good) {
      return good;
    }
  }
  const json::Node* patient = one.find("patient");
  if (patient == nullptr || patient->find("identifier") == nullptr) {
    return Error(ErrorCode::kInvalid, "a patient needs patient.identifier", place.of(one));
  }
  const std::string bed(one.string_at("bed"));
  if (!beds.insert(bed).second) {
    return Error(ErrorCode::kInvalid, "two patients are in the same bed", place.of(one));
  }
  if (auto good = check_sheet(one, place); !good) {
    return good;
  }
  return judge(frame_of(root, &one, nullptr), what, one, place, admit);
}

// {"breathlessness": {"3": "moderate"}, "exertion": {...}}: the site's words for numbers of a
// rating.
base::Result<void> check_anchors(const json::Node* anchors, const Place& place) {
  if (anchors == nullptr) {
    return {};
  }
  const auto wrong = [&](const json::Node& node) {
    return Error(ErrorCode::kInvalid,
                 "'anchors' has 'breathlessness' and 'exertion', each an object of texts by number",
                 place.of(node));
  };
  if (!anchors->is_object()) {
    return wrong(*anchors);
  }
  if (auto good = check_members(*anchors, {"breathlessness", "exertion"}, "'anchors'", place);
      !good) {
    return good;
  }
  for (const json::Node& scale : *anchors) {
    if (!scale.is_object()) {
      return wrong(scale);
    }
    for (const json::Node& words : scale) {
      if (!words.is_string() || words.text().empty()) {
        return wrong(words);
      }
    }
  }
  return {};
}

// A list that must be there and not be empty.
base::Result<const json::Node*> list_of(const json::Node& root, std::string_view member,
                                        const Place& place) {
  const json::Node* list = root.find(member);
  if (list == nullptr || !list->is_array() || list->count == 0) {
    return Error(ErrorCode::kInvalid, "'" + std::string(member) + "' is a list that is not empty",
                 place.of(list == nullptr ? root : *list));
  }
  if (list->count > base::limits::kWardPatientsMax) {
    return Error(ErrorCode::kLimit,
                 "'" + std::string(member) + "' has at most " +
                     std::to_string(base::limits::kWardPatientsMax) + " items",
                 place.of(*list));
  }
  return list;
}

}  // namespace

base::Result<void> check_ward(std::string_view text, const std::string& name, const Admit& admit) {
  const json::NameTable names;
  json::Document document(names);
  if (auto parsed = document.parse(text); !parsed) {
    return Error(parsed.error().code, parsed.error().detail, name + ":" + parsed.error().where);
  }
  const Place place(text, name);
  const json::Node& root = *document.root();
  if (!document.duplicates().empty()) {
    return Error(ErrorCode::kInvalid, "a member stands here a second time",
                 place.of(*document.duplicates().front()));
  }
  if (auto good = check_members(root, {"facility", "therapist", "patient", "anchors", "sheet"},
                                "a ward file", place);
      !good) {
    return good;
  }
  if (auto good = check_anchors(root.find("anchors"), place); !good) {
    return good;
  }
  if (auto good = check_sheet(root, place); !good) {
    return good;
  }
  const auto therapists = list_of(root, "therapist", place);
  const auto patients = list_of(root, "patient", place);
  if (!therapists || !patients) {
    return therapists ? patients.error() : therapists.error();
  }
  for (const json::Node& one : **therapists) {
    if (auto good = judge(frame_of(root, nullptr, &one), "a therapist", one, place, admit); !good) {
      return good;
    }
  }
  std::set<std::string> beds;
  for (const json::Node& one : **patients) {
    if (auto good = check_patient(root, one, beds, place, admit); !good) {
      return good;
    }
  }
  return {};
}

base::Result<std::string> WardFile::text() {
  if (path_.empty()) {
    return Error(ErrorCode::kNotFound,
                 "this site has no ward list; give the engine one (ward = \"FILE\", --ward FILE)");
  }
  const std::lock_guard lock(mutex_);
  std::error_code error;
  const auto changed = std::filesystem::last_write_time(path_, error);
  if (!error && !text_.empty() && changed == changed_) {
    return text_;
  }
  auto text = read_file(path_, base::limits::kWardBytesMax);
  if (!text) {
    return std::move(text).error();
  }
  if (auto good = check_ward(*text, path_, admit_); !good) {
    return std::move(good).error();
  }
  text_ = std::move(*text);
  changed_ = changed;
  return text_;
}

}  // namespace engine::cli

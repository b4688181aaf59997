#include "engine/therapy/structure.h"

#include <algorithm>
#include <iterator>
#include <span>
#include <string>
#include <vector>

#include "engine/fhir/primitives.h"
#include "engine/therapy/readings.h"

namespace engine::therapy {
namespace {

using json::Kind;
using json::Node;
using shapes::Element;
using shapes::Member;
using shapes::ShapeElement;
using shapes::TypeId;

std::string quoted(std::string_view text) {
  return "'" + std::string(text) + "'";
}

std::string_view kind_in_words(Kind kind) {
  switch (kind) {
    case Kind::kNull:
      return "null";
    case Kind::kBoolean:
      return "true or false";
    case Kind::kNumber:
      return "a number";
    case Kind::kString:
      return "a text";
    case Kind::kArray:
      return "a list";
    case Kind::kObject:
      return "an object";
  }
  return "";
}

// Levenshtein distance, given up beyond what could be called a slip of the pen.
std::size_t distance(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  for (std::size_t j = 0; j <= b.size(); ++j) {
    row[j] = j;
  }
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t above = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, diagonal + (a[i - 1] == b[j - 1] ? 0U : 1U)});
      diagonal = above;
    }
  }
  return row[b.size()];
}

// Without a table, numbers may be whatever they are.
class Reader {
 public:
  Reader(json::Document& document, const SessionModel& model, const PlausibilityTable* table,
         Report& report)
      : document_(document),
        types_(model.catalog().types()),
        model_(model),
        table_(table),
        report_(report),
        resource_type_(model.catalog().names().find("resourceType")),
        extension_(model.catalog().names().find("extension")),
        modifier_extension_(model.catalog().names().find("modifierExtension")),
        quantity_(types_.find("Quantity").value_or(shapes::kNoType)) {}

  void read(Node& root) { object(root, model_.session(), model_.shape().root()); }

  void read_entry(Node& entry) {
    const Member* member = types_.member(model_.session(), entry.parent->name);
    if (member != nullptr) {
      value(entry, *member, model_.shape().root().child(member->element));
    }
  }

 private:
  // The members of one object, each against its element, then what is missing.
  void object(Node& node, TypeId type, const ShapeElement& shape) {
    const shapes::TypeInfo& info = types_.info(type);
    seen_.assign(info.elements.size(), 0);
    for (Node* child = node.first; child != nullptr; child = child->next) {
      if (child->name == resource_type_ && node.parent == nullptr) {
        continue;
      }
      const Member* member = types_.member(type, child->name);
      if (member == nullptr) {
        unknown_member(*child, info);
        continue;
      }
      if (is_uncarried(*child, *member)) {
        continue;
      }
      if (++seen_[member->element] > 1) {
        report_.error("structure", *child,
                      info.elements[member->element].choice
                          ? "Only one form of " +
                                quoted(info.elements[member->element].stem->text) +
                                " may be there: remove the others."
                          : "The member " + quoted(child->name_text()) +
                                " is there more than once: keep one.");
      }
    }
    for (std::size_t i = 0; i < info.elements.size(); ++i) {
      const ShapeElement* wanted = shape.has_children() ? shape.child(i) : nullptr;
      const std::uint32_t min = wanted != nullptr ? wanted->min : info.elements[i].min;
      if (min > 0 && seen_[i] == 0) {
        report_.error("required", node,
                      quoted(info.elements[i].stem->text) + " is missing: add it.");
      }
    }
    // Values come after the members, because `seen_` is one for all levels.
    for (Node* child = node.first; child != nullptr; child = child->next) {
      const Member* member = types_.member(type, child->name);
      if (member != nullptr && member->name == child->name && child->name != extension_ &&
          child->name != modifier_extension_ && member->type != shapes::kNoType) {
        values(*child, *member, info.elements[member->element],
               shape.has_children() ? shape.child(member->element) : nullptr);
      }
    }
  }

  // Extensions are legal FHIR, but no map reads them: said, so that nobody takes them for landed.
  bool is_uncarried(Node& child, const Member& member) {
    if (child.name != member.companion && child.name != extension_ &&
        child.name != modifier_extension_) {
      return false;
    }
    if (child.name == modifier_extension_) {
      report_.error("not-supported", child,
                    "A modifier extension changes the meaning of its element and is not understood "
                    "here: remove it.");
    } else {
      report_.warning("not-supported", child, "This extension is not carried into the chart.");
    }
    return true;
  }

  void unknown_member(const Node& child, const shapes::TypeInfo& info) {
    std::string_view nearest;
    std::size_t best = 4;
    constexpr std::size_t kComparedMax = 64;  // longer names are no slip of the pen
    for (const Element& element : info.elements) {
      for (const Member& member : element.members) {
        if (child.name_text().size() > kComparedMax) {
          break;
        }
        const std::size_t far = distance(child.name_text(), member.name->text);
        if (far < best) {
          best = far;
          nearest = member.name->text;
        }
      }
    }
    std::string text = "There is no " + quoted(child.name_text().substr(0, kComparedMax)) + " here";
    text += nearest.empty() ? ": remove it; docs/session-document.md lists what there is."
                            : "; did you mean " + quoted(nearest) + "?";
    report_.error("structure", child, std::move(text));
  }

  void values(Node& node, const Member& member, const Element& element, const ShapeElement* shape) {
    if (element.repeats != node.is_array()) {
      report_.error(
          "structure", node,
          element.repeats
              ? quoted(node.name_text()) + " may repeat and is always a list: write [...]."
              : quoted(node.name_text()) + " is a single value: write it without [ ].");
      return;
    }
    if (!node.is_array()) {
      value(node, member, shape);
      return;
    }
    if (node.count == 0) {
      report_.error("structure", node, "An empty list says nothing: leave it out.");
    }
    if (shape != nullptr && node.count > shape->max) {
      report_.error("structure", node,
                    "At most " + std::to_string(shape->max) + " are allowed here.");
    }
    if (shape != nullptr && node.count < shape->min) {
      report_.error("required", node,
                    "At least " + std::to_string(shape->min) + " are needed here.");
    }
    for (Node* item = node.first; item != nullptr; item = item->next) {
      value(*item, member, shape);
    }
  }

  void value(Node& node, const Member& member, const ShapeElement* shape) {
    const shapes::TypeInfo& info = types_.info(member.type);
    if (info.kind == shapes::TypeKind::kPrimitive || info.kind == shapes::TypeKind::kSystem) {
      primitive(node, info, shape);
      if (node.is_number()) {
        if (const Datum* datum = row_of(member)) {
          check_number(node, *datum, report_);
        }
      }
      return;
    }
    if (!node.is_object()) {
      report_.error(
          "structure", node,
          "An object is expected here, not " + std::string(kind_in_words(node.kind)) + ".");
      return;
    }
    if (node.count == 0) {
      report_.error("structure", node, "An empty object says nothing: leave it out.");
      return;
    }
    const shapes::TypeRef* ref =
        shape != nullptr && !shape->types.empty() ? &shape->types[0] : nullptr;
    const ShapeElement* inner = ref != nullptr ? ref->inner : nullptr;
    if (inner == nullptr) {
      const shapes::Shape* base = model_.catalog().base_shape(member.type);
      inner = base != nullptr ? &base->root() : nullptr;
    }
    if (shape != nullptr && shape->has_children() && inner == nullptr) {
      inner = shape;
    }
    if (inner == nullptr) {
      return;
    }
    object(node, member.type, *inner);
    if (member.type == quantity_) {
      complete_quantity(document_, node, row_of(member), report_);
    }
  }

  const Datum* row_of(const Member& member) const {
    return table_ != nullptr ? table_->find(&member) : nullptr;
  }

  void primitive(const Node& node, const shapes::TypeInfo& info, const ShapeElement* shape) {
    const std::optional<fhir::Primitive> primitive = info.kind == shapes::TypeKind::kSystem
                                                         ? fhir::Primitive::kString
                                                         : fhir::primitive_named(info.name);
    if (!primitive) {
      return;
    }
    const Kind wanted = fhir::json_kind_of(*primitive);
    if (node.kind != wanted) {
      std::string text = std::string(kind_in_words(wanted)) + " is expected here, not " +
                         std::string(kind_in_words(node.kind)) + ".";
      text[0] = text[0] == 'a' ? 'A' : text[0];
      report_.error("value", node, std::move(text));
      return;
    }
    if (const char* fault = fhir::primitive_fault(*primitive, node.text())) {
      constexpr std::size_t kShownBytes = 60;
      report_.error("value", node,
                    quoted(node.text().substr(0, kShownBytes)) + " is no " +
                        std::string(fhir::name_of(*primitive)) + ": " + fault + ".");
      return;
    }
    bound_code(node, shape);
  }

  void bound_code(const Node& node, const ShapeElement* shape) {
    if (shape == nullptr || shape->binding == nullptr || !node.is_string() ||
        shape->binding->strength != shapes::Strength::kRequired ||
        shape->binding->value_set == nullptr ||
        shape->binding->value_set->contains_code(node.text()) != shapes::Membership::kOut) {
      return;
    }
    std::string allowed;
    constexpr std::size_t kShownMax = 24;
    for (const std::string_view code : shape->binding->value_set->sample(kShownMax)) {
      allowed += (allowed.empty() ? "" : ", ") + std::string(code);
    }
    constexpr std::size_t kShownBytes = 60;
    report_.error("code-invalid", node,
                  quoted(node.text().substr(0, kShownBytes)) +
                      " is not allowed here; use one of: " + allowed + ".");
  }

  json::Document& document_;
  const shapes::TypeModel& types_;
  const SessionModel& model_;
  const PlausibilityTable* table_;
  Report& report_;
  const json::Name* resource_type_;
  const json::Name* extension_;
  const json::Name* modifier_extension_;
  TypeId quantity_;
  std::vector<std::uint32_t> seen_;
};

}  // namespace

namespace {

// What a document that takes the session back says by itself.
constexpr std::string_view kHeader[] = {"resourceType", "identifier", "revision",
                                        "status",       "period",     "change",
                                        "facility",     "patient",    "therapist"};
constexpr std::string_view kHeaderOfPatient[] = {"identifier", "encounter"};

// Takes the members out that the type knows and that are not among the names.
void keep_only(std::span<const std::string_view> names, Node& object, shapes::TypeId type,
               const shapes::TypeModel& types) {
  Node* kept = nullptr;
  for (Node* at = object.first; at != nullptr; at = at->next) {
    const bool known = types.member(type, at->name) != nullptr;
    if (known && std::find(names.begin(), names.end(), at->name_text()) == names.end()) {
      (kept != nullptr ? kept->next : object.first) = at->next;
      --object.count;
    } else {
      kept = at;
    }
  }
  object.last = kept;
}

// False when there is nothing to read.
bool is_session(const json::Document& document, Report& report) {
  const Node& root = *document.root();
  if (!root.is_object()) {
    report.error("structure", root, "A session document is one JSON object.");
    return false;
  }
  if (root.string_at("resourceType") != "TherapySession") {
    report.error("structure", root,
                 "This is no session document: resourceType must be 'TherapySession'.");
    return false;
  }
  for (const Node* duplicate : document.duplicates()) {
    report.error("structure", *duplicate,
                 quoted(duplicate->name_text()) + " is there twice in one object: keep one.");
  }
  for (const std::string_view computed : kComputedElements) {
    if (const Node* node = root.find(computed)) {
      report.error("structure", *node,
                   quoted(computed) + " is made by the engine and cannot be sent: remove it.");
    }
  }
  return true;
}

}  // namespace

void read_structure(json::Document& document, const SessionModel& model,
                    const PlausibilityTable& table, Report& report) {
  if (is_session(document, report)) {
    Reader(document, model, &table, report).read(*document.root());
  }
}

void read_taken_back(json::Document& document, const SessionModel& model, Report& report) {
  if (!is_session(document, report)) {
    return;
  }
  Node& root = *document.root();
  const shapes::TypeModel& types = model.catalog().types();
  keep_only(kHeader, root, model.session(), types);
  Node* patient = root.find("patient");
  const Member* member =
      patient != nullptr ? types.member(model.session(), patient->name) : nullptr;
  if (member != nullptr && patient->is_object()) {
    keep_only(kHeaderOfPatient, *patient, member->type, types);
  }
  Reader(document, model, nullptr, report).read(root);
}

void read_as_said(json::Document& document, const SessionModel& model) {
  fhir::Issues issues;
  Report unheard({}, issues);
  Reader(document, model, nullptr, unheard).read(*document.root());
}

std::string fault_of_entry(json::Document& document, json::Node& entry, const SessionModel& model) {
  fhir::Issues issues;
  Report report({}, issues);
  Reader(document, model, nullptr, report).read_entry(entry);
  const auto fault = std::find_if(issues.begin(), issues.end(), [](const fhir::Issue& issue) {
    return issue.severity == fhir::Severity::kError;
  });
  return fault == issues.end() ? std::string() : fault->text;
}

}  // namespace engine::therapy

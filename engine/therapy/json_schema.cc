#include "engine/therapy/json_schema.h"

#include <unordered_map>
#include <unordered_set>
#include <vector>

#include "engine/fhir/primitives.h"
#include "engine/json/document.h"
#include "engine/json/write.h"

namespace engine::therapy {
namespace {

using json::Document;
using json::Node;
using shapes::Element;
using shapes::Member;
using shapes::ShapeElement;
using shapes::TypeId;
using shapes::TypeKind;

class SchemaWriter {
 public:
  SchemaWriter(const SessionModel& model, const PlausibilityTable& table,
               std::string_view logical_model)
      : model_(model),
        types_(model.catalog().types()),
        table_(table),
        out_(model.catalog().names()),
        source_(model.catalog().names()) {
    if (source_.parse(logical_model)) {
      read_texts();
    }
  }

  std::string write() {
    Node* root = out_.make_object();
    text(root, "$schema", "https://json-schema.org/draft/2020-12/schema");
    text(root, "$id", "https://chartferry.example/fhir/session.schema.json");
    text(root, "title", "Therapy session");
    definitions_ = out_.make_object();
    Node* body = object_schema(model_.session(), model_.shape().root());
    Node* properties = body->find("properties");
    Node* resource_type = out_.make_object();
    text(resource_type, "const", "TherapySession");
    out_.append(properties, "resourceType", resource_type);
    for (Node* child = body->first; child != nullptr;) {
      Node* next = child->next;
      const json::Name* name = child->name;
      child->next = nullptr;
      Document::append(root, name, child);
      child = next;
    }
    while (!waiting_.empty()) {
      const Waiting next = waiting_.back();
      waiting_.pop_back();
      out_.append(definitions_, types_.info(next.type).name, object_schema(next.type, *next.shape));
    }
    out_.append(root, "$defs", definitions_);
    return json::to_pretty_text(*root);
  }

 private:
  struct Waiting {
    TypeId type;
    const ShapeElement* shape;
  };

  void text(Node* object, std::string_view member, std::string_view value) {
    out_.append(object, member, out_.make_string(value));
  }

  void read_texts() {
    const Node* differential = source_.root()->find("differential");
    const Node* elements = differential != nullptr ? differential->find("element") : nullptr;
    for (const Node* e = elements != nullptr ? elements->first : nullptr; e != nullptr;
         e = e->next) {
      texts_.emplace(e->string_at("path"), e->string_at("short"));
    }
  }

  Node* object_schema(TypeId type, const ShapeElement& shape) {
    const shapes::TypeInfo& info = types_.info(type);
    Node* schema = out_.make_object();
    text(schema, "type", "object");
    Node* properties = out_.make_object();
    Node* required = out_.make_array();
    for (std::size_t i = 0; i < info.elements.size(); ++i) {
      const Element& element = info.elements[i];
      if (element.stem->text == "modifierExtension" || element.stem->text == "extension" ||
          is_computed(info, element)) {
        continue;
      }
      const ShapeElement* constraint = shape.has_children() ? shape.child(i) : nullptr;
      for (const Member& member : element.members) {
        if (member.type != shapes::kNoType) {
          out_.append(properties, member.name->text, property(info, element, member, constraint));
        }
      }
      const std::uint32_t min = constraint != nullptr ? constraint->min : element.min;
      if (min > 0 && !element.choice) {
        Document::append(required, out_.make_string(element.stem->text));
      }
    }
    out_.append(schema, "properties", properties);
    if (type == model_.session()) {
      Document::append(required, out_.make_string("resourceType"));
    }
    if (required->count != 0) {
      out_.append(schema, "required", required);
    }
    out_.append(schema, "additionalProperties", out_.make_boolean(false));
    return schema;
  }

  bool is_computed(const shapes::TypeInfo& info, const Element& element) const {
    const bool top = info.name == "TherapySession" || info.name == "TherapySession.entry";
    return top && (element.stem->text == "finding" || element.stem->text == "frame");
  }

  Node* property(const shapes::TypeInfo& owner, const Element& element, const Member& member,
                 const ShapeElement* constraint) {
    Node* schema = value_schema(member, constraint);
    const auto words = texts_.find(std::string(owner.name) + "." + std::string(element.stem->text));
    if (words != texts_.end()) {
      text(schema, "description", words->second);
    }
    if (!element.repeats) {
      return schema;
    }
    Node* list = out_.make_object();
    text(list, "type", "array");
    out_.append(list, "items", schema);
    const std::uint32_t least = constraint != nullptr && constraint->min > 1 ? constraint->min : 1;
    out_.append(list, "minItems", out_.make_number(std::to_string(least)));
    return list;
  }

  Node* value_schema(const Member& member, const ShapeElement* constraint) {
    const shapes::TypeInfo& info = types_.info(member.type);
    if (info.kind == TypeKind::kPrimitive || info.kind == TypeKind::kSystem) {
      return primitive_schema(member, info, constraint);
    }
    Node* schema = out_.make_object();
    text(schema, "$ref", "#/$defs/" + std::string(info.name));
    if (queued_.insert(member.type).second) {
      const shapes::TypeRef* ref =
          constraint != nullptr && !constraint->types.empty() ? &constraint->types[0] : nullptr;
      const ShapeElement* inner = ref != nullptr ? ref->inner : nullptr;
      if (inner == nullptr && model_.catalog().base_shape(member.type) != nullptr) {
        inner = &model_.catalog().base_shape(member.type)->root();
      }
      if (inner != nullptr) {
        waiting_.push_back({member.type, inner});
      }
    }
    return schema;
  }

  Node* primitive_schema(const Member& member, const shapes::TypeInfo& info,
                         const ShapeElement* constraint) {
    Node* schema = out_.make_object();
    const auto primitive = info.kind == TypeKind::kSystem ? std::optional(fhir::Primitive::kString)
                                                          : fhir::primitive_named(info.name);
    const json::Kind kind = primitive ? fhir::json_kind_of(*primitive) : json::Kind::kString;
    if (kind == json::Kind::kBoolean) {
      text(schema, "type", "boolean");
    } else if (kind == json::Kind::kNumber) {
      text(schema, "type", info.name == "decimal" ? "number" : "integer");
      bounds(schema, member);
    } else {
      text(schema, "type", "string");
      codes(schema, constraint);
    }
    return schema;
  }

  void bounds(Node* schema, const Member& member) {
    const Datum* datum = table_.find(&member);
    if (datum != nullptr && datum->refuse.low) {
      out_.append(schema, "minimum", out_.make_number(datum->refuse.low->to_string()));
    }
    if (datum != nullptr && datum->refuse.high) {
      out_.append(schema, "maximum", out_.make_number(datum->refuse.high->to_string()));
    }
  }

  void codes(Node* schema, const ShapeElement* constraint) {
    if (constraint == nullptr || constraint->binding == nullptr ||
        constraint->binding->strength != shapes::Strength::kRequired ||
        constraint->binding->value_set == nullptr || !constraint->binding->value_set->expandable) {
      return;
    }
    constexpr std::size_t kCodesMax = 200;
    Node* list = out_.make_array();
    for (const std::string_view code : constraint->binding->value_set->sample(kCodesMax)) {
      Document::append(list, out_.make_string(code));
    }
    out_.append(schema, "enum", list);
  }

  const SessionModel& model_;
  const shapes::TypeModel& types_;
  const PlausibilityTable& table_;
  Document out_;
  Document source_;
  Node* definitions_ = nullptr;
  std::unordered_map<std::string, std::string> texts_;
  std::unordered_set<TypeId> queued_;
  std::vector<Waiting> waiting_;
};

}  // namespace

std::string make_json_schema(const SessionModel& model, const PlausibilityTable& table,
                             std::string_view logical_model) {
  return SchemaWriter(model, table, logical_model).write();
}

}  // namespace engine::therapy

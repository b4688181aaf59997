#include "tests/mutation/edits.h"

#include "engine/json/write.h"

namespace mutation {

namespace json = engine::json;
namespace shapes = engine::shapes;

namespace {

void print_node(const json::Node& node, const Edits& edits, std::string& out);

void print_children(const json::Node& node, const Edits& edits, std::string& out) {
  bool first = true;
  const auto comma = [&] {
    out += first ? "" : ",";
    first = false;
  };
  for (const json::Node& child : node) {
    std::string name(child.name_text());
    bool removed = false;
    for (const Edit& edit : edits) {
      removed = removed || (edit.at == &child && edit.kind == Edit::Kind::kRemove);
      if (edit.at == &child && edit.kind == Edit::Kind::kRename) {
        name = edit.text;
      }
    }
    if (removed) {
      continue;
    }
    comma();
    if (node.is_object()) {
      json::write_string(name, out);
      out += ':';
    }
    print_node(child, edits, out);
  }
  for (const Edit& edit : edits) {
    if (edit.at == &node && (edit.kind == Edit::Kind::kAdd || edit.kind == Edit::Kind::kAddItem)) {
      comma();
      out += edit.text;
    }
  }
}

void print_node(const json::Node& node, const Edits& edits, std::string& out) {
  for (const Edit& edit : edits) {
    if (edit.at == &node && edit.kind == Edit::Kind::kReplace) {
      out += edit.text;
      return;
    }
  }
  if (node.is_object() || node.is_array()) {
    out += node.is_object() ? '{' : '[';
    print_children(node, edits, out);
    out += node.is_object() ? '}' : ']';
    return;
  }
  json::write(node, out);
}

class Collector {
 public:
  Collector(const json::Node& root, const shapes::Catalog& catalog)
      : root_(root), catalog_(catalog) {}

  void object(const json::Node& node, shapes::TypeId declared, const shapes::ShapeElement* shape) {
    const shapes::TypeModel& types = catalog_.types();
    shapes::TypeId type = declared;
    const bool is_resource =
        declared == shapes::kNoType || types.info(declared).kind == shapes::TypeKind::kResource;
    if (is_resource) {
      const auto found = types.find(node.string_at("resourceType"));
      if (!found) {
        return;
      }
      type = *found;
      const shapes::Shape* base = catalog_.base_shape(type);
      shape = base != nullptr ? &base->root() : nullptr;
    }
    const shapes::TypeInfo& info = types.info(type);
    Site whole;
    whole.root = &root_;
    whole.object = &node;
    whole.object_type = type;
    whole.object_info = &info;
    whole.type = info.name;
    whole.is_resource = is_resource;
    out.push_back(whole);
    for (const json::Node& child : node) {
      const shapes::Member* member = types.member(type, child.name);
      if (member == nullptr || child.name == member->companion) {
        continue;
      }
      Site site = whole;
      site.node = &child;
      site.member = member;
      site.element = &info.elements[member->element];
      site.type = types.info(member->type).name;
      const shapes::ShapeElement* constraint =
          shape != nullptr && member->element < shape->children.size()
              ? shape->children[member->element]
              : nullptr;
      site.shape = constraint;
      out.push_back(site);
      const shapes::ShapeElement* inner = nullptr;
      if (constraint != nullptr) {
        for (const shapes::TypeRef& ref : constraint->types) {
          inner = ref.type == member->type ? ref.inner : inner;
        }
      }
      const json::Node* first = child.is_array() ? child.first : &child;
      for (const json::Node* each = first; each != nullptr;
           each = child.is_array() ? each->next : nullptr) {
        if (each->is_object()) {
          object(*each, member->type, inner);
        }
      }
    }
  }

  std::vector<Site> out;

 private:
  const json::Node& root_;
  const shapes::Catalog& catalog_;
};

}  // namespace

std::string print(const json::Node& root, const Edits& edits) {
  std::string out;
  print_node(root, edits, out);
  return out;
}

std::vector<Site> sites_of(const json::Node& root, const shapes::Catalog& catalog) {
  Collector collector(root, catalog);
  collector.object(root, shapes::kNoType, nullptr);
  return std::move(collector.out);
}

}  // namespace mutation

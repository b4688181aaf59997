// Items and trees as text and JSON.

#include "engine/fhirpath/fhirpath.h"
#include "engine/fhirpath/lexer.h"
#include "engine/fhirpath/program.h"
#include "engine/fhirpath/temporal.h"
#include "engine/json/write.h"
#include "engine/ucum/ucum.h"

namespace engine::fhirpath {
namespace {

std::string quantity_text(const Quantity& quantity) {
  std::string text = quantity.value.to_string();
  text += ' ';
  if (!quantity.calendar) {
    return text + '\'' + std::string(quantity.unit) + '\'';
  }
  text += quantity.unit;
  return quantity.value == base::Decimal::from_int(1) ? text : text + 's';
}

std::string node_text(const json::Node* node) {
  if (node == nullptr) {
    return {};
  }
  switch (node->kind) {
    case json::Kind::kString:
    case json::Kind::kNumber:
      return std::string(node->text());
    case json::Kind::kBoolean:
      return node->boolean ? "true" : "false";
    default:
      return json::to_text(*node);
  }
}

json::Node* quantity_json(const Quantity& quantity, json::Document& document) {
  json::Node* object = document.make_object();
  document.append(object, "value", document.make_number(quantity.value.to_string()));
  document.append(object, "unit", document.make_string(quantity.unit));
  if (!quantity.calendar) {
    document.append(object, "system", document.make_string(ucum::kSystem));
    document.append(object, "code", document.make_string(quantity.unit));
  }
  return object;
}

void print_node(const Tree& tree, std::size_t indent, std::string& out) {
  out.append(indent * 2, ' ');
  switch (tree.op) {
    case Op::kLiteral:
      out += print_literal(tree.literal);
      break;
    case Op::kMember:
      out += '.';
      out += tree.name;
      break;
    case Op::kFunction:
    case Op::kHostCall:
      out += tree.name;
      out += "()";
      break;
    case Op::kVariable:
      out += '%';
      out += tree.name;
      break;
    default:
      out += name_of(tree.op);
  }
  if (tree.specifier != nullptr) {
    out += ' ';
    out += tree.specifier->name;
    out += '\n';
    if (tree.op == Op::kIs || tree.op == Op::kAs) {
      print_node(*tree.args[0], indent + 1, out);
    }
    return;
  }
  out += '\n';
  for (std::uint32_t i = 0; i < tree.count; ++i) {
    print_node(*tree.args[i], indent + 1, out);
  }
}

}  // namespace

std::string to_text(const Item& item) {
  switch (item.kind) {
    case ItemKind::kNothing:
      return {};
    case ItemKind::kNode:
      return node_text(item.at.node);
    case ItemKind::kBoolean:
      return item.boolean ? "true" : "false";
    case ItemKind::kInteger:
      return std::to_string(item.integer);
    case ItemKind::kDecimal:
      return item.decimal->to_string();
    case ItemKind::kString:
      return std::string(item.text());
    case ItemKind::kDate:
    case ItemKind::kDateTime:
    case ItemKind::kTime:
      return print_temporal(item.kind, item.temporal);
    case ItemKind::kQuantity:
      return quantity_text(*item.quantity);
    case ItemKind::kTypeName:
      return std::string(item.type_name->space) + '.' + std::string(item.type_name->name);
  }
  return {};
}

std::string print_literal(const Item& item) {
  switch (item.kind) {
    case ItemKind::kString: {
      std::string text = "'";
      for (const char c : item.text()) {
        if (c == '\'' || c == '\\') {
          text += '\\';
        }
        text += c;
      }
      return text + '\'';
    }
    case ItemKind::kDate:
      return '@' + to_text(item);
    case ItemKind::kDateTime: {
      std::string text = '@' + to_text(item);
      return text.find('T') == std::string::npos ? text + 'T' : text;
    }
    case ItemKind::kTime:
      return "@T" + to_text(item);
    default:
      return to_text(item);
  }
}

std::string type_text(const Item& item, const Types* types) {
  switch (item.kind) {
    case ItemKind::kNothing:
      return {};
    case ItemKind::kNode: {
      if (item.type == shapes::kNoType || types == nullptr) {
        return "JSON";
      }
      const std::string name(types->model().info(item.type).name);
      return name.starts_with("System.") ? name : "FHIR." + name;
    }
    case ItemKind::kBoolean:
      return "System.Boolean";
    case ItemKind::kInteger:
      return item.length != 0 ? "System.Long" : "System.Integer";
    case ItemKind::kDecimal:
      return "System.Decimal";
    case ItemKind::kString:
      return "System.String";
    case ItemKind::kDate:
      return "System.Date";
    case ItemKind::kDateTime:
      return "System.DateTime";
    case ItemKind::kTime:
      return "System.Time";
    case ItemKind::kQuantity:
      return "System.Quantity";
    case ItemKind::kTypeName:
      return "System.Any";
  }
  return {};
}

json::Node* to_json(const Item& item, json::Document& document) {
  switch (item.kind) {
    case ItemKind::kNothing:
      return document.make_null();
    case ItemKind::kNode:
      return item.at.node != nullptr ? document.copy(*item.at.node) : document.make_null();
    case ItemKind::kBoolean:
      return document.make_boolean(item.boolean);
    case ItemKind::kInteger:
    case ItemKind::kDecimal:
      return document.make_number(to_text(item));
    case ItemKind::kQuantity:
      return quantity_json(*item.quantity, document);
    default:
      return document.make_string(to_text(item));
  }
}

std::string_view name_of(Op op) {
  constexpr std::string_view kNames[] = {
      "literal",  "{}",       "$this", "$index", "$total", "variable", "member", "function",
      "function", "[]",       "path",  "-",      "+",      "desc",     "is",     "as",
      "*",        "/",        "div",   "mod",    "+",      "-",        "&",      "|",
      "<",        "<=",       ">",     ">=",     "=",      "!=",       "~",      "!~",
      "in",       "contains", "and",   "or",     "xor",    "implies"};
  static_assert(std::size(kNames) == static_cast<std::size_t>(Op::kImplies) + 1);
  return kNames[static_cast<std::size_t>(op)];
}

std::string print_tree(const Tree& tree) {
  std::string out;
  print_node(tree, 0, out);
  return out;
}

}  // namespace engine::fhirpath

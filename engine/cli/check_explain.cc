#include "engine/cli/check_explain.h"

#include <optional>
#include <vector>

#include "engine/base/limits.h"
#include "engine/check/place.h"
#include "engine/cli/catalog_host.h"
#include "engine/cli/profiles_view.h"
#include "engine/fhirpath/fhirpath.h"
#include "engine/json/write.h"
#include "engine/shapes/element_at.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;
using shapes::Shape;
using shapes::ShapeElement;

// One definition in force on the value, with the element of it that the value follows.
struct Part {
  check::InForce source;
  std::string element;  // id; a slice's when the value is in one
  std::vector<Saying> sayings;
};

class Explainer {
 public:
  Explainer(const check::Checker& checker, const json::Document& document, std::string_view text,
            const ExplainRequest& request)
      : checker_(checker), document_(document), text_(text), request_(request) {}

  std::string explain(const fhirpath::Item& item) {
    const json::Node& node = item.at.node != nullptr ? *item.at.node : *item.at.companion;
    const json::Node* resource = shapes::resource_around(&node);
    const check::Options options{
        .profiles = request_.profiles, .others = {}, .text = {}, .now = {}, .notes = false};
    std::vector<Part> parts;
    if (resource != nullptr) {
      for (const check::InForce& each : checker_.in_force(*resource, options, scratch_)) {
        add_parts(item, node, *resource, each, parts);
      }
    }
    return request_.as_json ? as_json(node, parts) : as_text(node, parts);
  }

 private:
  void add_parts(const fhirpath::Item& item, const json::Node& node, const json::Node& resource,
                 const check::InForce& source, std::vector<Part>& parts) {
    const shapes::Catalog& catalog = checker_.catalog();
    const ShapeElement* element = shapes::element_at(catalog, *source.shape, resource, node);
    if (element == nullptr) {
      return;
    }
    add(source, *element, parts);
    const std::string path = shapes::without_slice_names(element->id);
    for (const ShapeElement& each : source.shape->elements) {
      if (each.sliced == nullptr || shapes::without_slice_names(each.id) != path) {
        continue;
      }
      const Result<bool> in = checker_.in_slice(item.at.node, item.at.companion, item.type,
                                                source.shape->url, each.slice_name, scratch_);
      if (in && *in) {
        add(source, each, parts);
      }
    }
  }

  void add(const check::InForce& source, const ShapeElement& element, std::vector<Part>& parts) {
    parts.push_back(
        {source, std::string(element.id), sayings(checker_.catalog(), *element.shape, element.id)});
  }

  std::string position(const json::Node& node) const {
    if (node.offset == json::kNoOffset) {
      return {};
    }
    const json::Position at = json::locate(text_, node.offset);
    return std::to_string(at.line) + ":" + std::to_string(at.column);
  }

  std::string as_text(const json::Node& node, const std::vector<Part>& parts) const {
    std::string out = check::place_of(node, *document_.root(), checker_.catalog().types()) + "  (" +
                      position(node) + ")\n";
    if (parts.empty()) {
      out += "  no loaded definition says anything of it\n";
    }
    for (const Part& part : parts) {
      out += "\nby " + std::string(part.source.shape->url) + ", " + std::string(part.source.why) +
             ": " + part.element + "\n" + text_of(part.sayings);
    }
    return out + "\n";
  }

  std::string as_json(const json::Node& node, const std::vector<Part>& parts) const {
    json::Document out(checker_.catalog().names());
    const auto text = [&out](json::Node* to, std::string_view member, std::string_view value) {
      out.append(to, member, out.make_string(value));
    };
    json::Node* root = out.make_object();
    text(root, "place", check::place_of(node, *document_.root(), checker_.catalog().types()));
    text(root, "position", position(node));
    json::Node* list = out.make_array();
    for (const Part& part : parts) {
      json::Node* one = out.make_object();
      text(one, "profile", part.source.shape->url);
      text(one, "why", part.source.why);
      text(one, "element", part.element);
      json::Node* says = out.make_array();
      for (const Saying& saying : part.sayings) {
        json::Node* entry = out.make_object();
        text(entry, "definition", saying.canonical);
        json::Node* aspects = out.make_object();
        for (const Saying::Part& each : saying.parts) {
          text(aspects, each.aspect, each.text);
        }
        out.append(entry, "says", aspects);
        json::Document::append(says, entry);
      }
      out.append(one, "says", says);
      json::Document::append(list, one);
    }
    out.append(root, "parts", list);
    return json::to_text(*root) + "\n";
  }

  const check::Checker& checker_;
  const json::Document& document_;
  std::string_view text_;
  const ExplainRequest& request_;
  check::Scratch scratch_;
};

}  // namespace

Result<std::string> explain_values(const check::Checker& checker, const json::Document& document,
                                   std::string_view text, const ExplainRequest& request) {
  const shapes::Catalog& catalog = checker.catalog();
  const fhirpath::Types types(catalog.types(), catalog.names());
  const fhirpath::Item focus = types.resource(*document.root());
  fhirpath::Options options{.types = &types};
  options.context_type = focus.type;
  const Result<fhirpath::Expression> expression = fhirpath::compile(request.expression, options);
  if (!expression) {
    return expression.error();
  }
  const CatalogHost host(catalog);
  fhirpath::Workspace workspace;
  fhirpath::Context context;
  context.focus = {&focus, 1};
  context.host = &host;
  const Result<fhirpath::Items> found = expression->evaluate(context, workspace);
  if (!found) {
    return found.error();
  }
  Explainer explainer(checker, document, text, request);
  std::string out;
  std::size_t count = 0;
  for (const fhirpath::Item& item : *found) {
    if (item.is_node() && ++count <= base::limits::kExplainedValuesMax) {
      out += explainer.explain(item);
    }
  }
  if (count == 0) {
    return Error(ErrorCode::kNotFound, "the expression picks no element of this resource",
                 std::string(request.expression));
  }
  if (count > base::limits::kExplainedValuesMax && !request.as_json) {
    out += "... and " + std::to_string(count - base::limits::kExplainedValuesMax) + " more\n";
  }
  return out;
}

}  // namespace engine::cli

#pragma once
// What `chartferry profiles` shows to people, as text.

#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/shapes/catalog.h"

namespace engine::cli {

struct ListFilter {
  std::string type;     // "Observation"; empty for all
  std::string package;  // id; empty for all
  bool extensions = false;
  bool types = false;
};

// One definition a line: canonical, type, package.
std::string list_shapes(const shapes::Catalog& catalog, const ListFilter& filter);

// The elements of one definition as an indented table; with every element, or only those that say
// more than the base type does. Errors: kNotFound with the nearest known canonicals.
base::Result<std::string> show_shape(const shapes::Catalog& catalog, std::string_view canonical,
                                     bool every_element);

// What one definition says of an element beyond the definition it is based on.
struct Saying {
  std::string canonical;
  struct Part {
    std::string aspect;  // "cardinality", "binding", ...; an invariant's key
    std::string text;
  };
  std::vector<Part> parts;  // empty: it says nothing more
};
// From the base type's definition to `shape`; definitions without the element are left out.
std::vector<Saying> sayings(const shapes::Catalog& catalog, const shapes::Shape& shape,
                            std::string_view element_id);
std::string text_of(const std::vector<Saying>& sayings);

// "canonical#path or element id": what each definition from the base type to this one says about
// the element. Errors: kNotFound.
base::Result<std::string> explain_element(const shapes::Catalog& catalog, std::string_view place);

}  // namespace engine::cli

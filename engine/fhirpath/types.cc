#include "engine/fhirpath/types.h"

#include <optional>
#include <utility>

namespace engine::fhirpath {
namespace {

// FHIR R4 fhirpath.html, "Using FHIR types in expressions". A type derived from one of these has
// its class.
constexpr std::pair<std::string_view, ValueClass> kClasses[] = {
    {"FHIR.boolean", ValueClass::kBoolean},   {"FHIR.integer", ValueClass::kInteger},
    {"FHIR.decimal", ValueClass::kDecimal},   {"FHIR.string", ValueClass::kString},
    {"FHIR.uri", ValueClass::kString},        {"FHIR.base64Binary", ValueClass::kString},
    {"FHIR.xhtml", ValueClass::kString},      {"FHIR.date", ValueClass::kDate},
    {"FHIR.dateTime", ValueClass::kDateTime}, {"FHIR.instant", ValueClass::kDateTime},
    {"FHIR.time", ValueClass::kTime},         {"FHIR.Quantity", ValueClass::kQuantity},
    {"System.Boolean", ValueClass::kBoolean}, {"System.Integer", ValueClass::kInteger},
    {"System.Decimal", ValueClass::kDecimal}, {"System.String", ValueClass::kString},
    {"System.Date", ValueClass::kDate},       {"System.DateTime", ValueClass::kDateTime},
    {"System.Time", ValueClass::kTime},
};

}  // namespace

Types::Types(const shapes::TypeModel& model, const json::NameTable& names)
    : model_(&model), names_(&names), resource_type_name_(names.find("resourceType")) {
  classes_.assign(model.size(), ValueClass::kComplex);
  names_itself_.assign(model.size(), 0);
  for (std::size_t i = 0; i < model.size(); ++i) {
    const auto type = static_cast<shapes::TypeId>(i);
    for (const auto& [name, value_class] : kClasses) {
      const std::optional<shapes::TypeId> base = model.find(name);
      if (base && model.is_a(type, *base)) {
        classes_[i] = value_class;
      }
    }
    const shapes::TypeInfo& info = model.info(type);
    names_itself_[i] = info.kind == shapes::TypeKind::kResource && info.abstract ? 1 : 0;
  }
  extension_ = model.find("FHIR.Extension").value_or(shapes::kNoType);
  index_elements();
}

void Types::index_elements() {
  std::size_t count = 0;
  for (std::size_t i = 0; i < model_->size(); ++i) {
    count += model_->info(static_cast<shapes::TypeId>(i)).elements.size();
  }
  std::size_t capacity = 16;
  while (capacity < count * 2) {
    capacity *= 2;
  }
  slots_.resize(capacity);
  for (std::size_t i = 0; i < model_->size(); ++i) {
    const auto type = static_cast<shapes::TypeId>(i);
    for (const shapes::Element& element : model_->info(type).elements) {
      const std::uint64_t key = key_of(type, element.stem);
      std::size_t at = start_of(key) & (capacity - 1);
      while (slots_[at].element != nullptr) {
        at = (at + 1) & (capacity - 1);
      }
      slots_[at] = {key, &element};
    }
  }
}

const shapes::Element* Types::element(shapes::TypeId type, const json::Name* stem) const {
  const std::uint64_t key = key_of(type, stem);
  for (std::size_t at = start_of(key) & (slots_.size() - 1);; at = (at + 1) & (slots_.size() - 1)) {
    if (slots_[at].element == nullptr || slots_[at].key == key) {
      return slots_[at].element;
    }
  }
}

std::string_view Types::named_type(const json::Node& object) const {
  const json::Node* named = resource_type_name_ != nullptr ? object.find(resource_type_name_)
                                                           : object.find("resourceType");
  return named != nullptr && named->is_string() ? named->text() : std::string_view();
}

shapes::TypeId Types::resource_type(const json::Node& object) const {
  const std::string_view named = named_type(object);
  return named.empty() ? shapes::kNoType : model_->find(named).value_or(shapes::kNoType);
}

Item Types::resource(const json::Node& root) const {
  return Item::of_node(&root, resource_type(root));
}

}  // namespace engine::fhirpath

#pragma once
// The compiled form of a set of maps: names are slots, elements are members of the type model,
// groups are instances for the types they are called with. The runner follows pointers and compares
// none of them by text. Immutable after load.

#include <cstdint>
#include <deque>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <unordered_map>
#include <vector>

#include "engine/fhir/primitives.h"
#include "engine/fhirpath/fhirpath.h"
#include "engine/mapping/ast.h"
#include "engine/mapping/concept_map.h"
#include "engine/mapping/mapping.h"
#include "engine/shapes/catalog.h"

namespace engine::mapping {

using Slot = std::uint16_t;
inline constexpr Slot kNoSlot = 0xFFFF;
// Slots from here on are constants: ParsedMap::constants of the rule's map.
inline constexpr Slot kFirstConstant = 0x8000;

struct CompiledExpression {
  fhirpath::Expression expression;
  std::vector<Slot> slots;  // one for each variable the expression was compiled with
  Place place;
};

// --- Reading the source

enum class StepKind : std::uint8_t {
  kMember,          // one JSON member, known when the map was compiled
  kChoice,          // a [x] element: whichever of its members is there
  kPrimitiveValue,  // .value of a primitive
  kByName,          // looked up at run time in the type of the instance
  kAll,             // *
  kDescendants,     // **
};

struct SourceStep {
  StepKind kind = StepKind::kByName;
  const shapes::Member* member = nullptr;
  const shapes::Element* element = nullptr;
  const json::Name* name = nullptr;
  Place place;
};

enum class ArgumentForm : std::uint8_t { kItem, kSlot, kPath, kExpression };

struct CompiledArgument {
  ArgumentForm form = ArgumentForm::kItem;
  fhirpath::Item item;  // a literal; borrows from the Program
  Slot slot = kNoSlot;
  std::vector<SourceStep> steps;
  std::unique_ptr<CompiledExpression> expression;
};

struct CompiledSource {
  Slot context = kNoSlot;
  std::vector<SourceStep> steps;
  shapes::TypeId filter = shapes::kNoType;
  bool has_cardinality = false;
  std::uint32_t min = 0;
  std::uint32_t max = shapes::kUnbounded;
  std::optional<CompiledArgument> default_value;
  SourceListMode list_mode = SourceListMode::kNone;
  Slot slot = kNoSlot;
  std::unique_ptr<CompiledExpression> where;
  std::unique_ptr<CompiledExpression> check;
  std::unique_ptr<CompiledExpression> log;
  Place place;
  // Nothing to filter and nothing to count: items may be bound while they are found.
  bool plain = false;
};

// --- Making the target

enum class TransformKind : std::uint8_t {
  kNone,  // the element is created by its type
  kCreate,
  kCopy,
  kTruncate,
  kEscape,
  kCast,
  kAppend,
  kTranslate,
  kReference,
  kPointer,
  kUuid,
  kEvaluate,
  kCodeableConcept,
  kCoding,
  kQuantity,
  kIdentifier,
  kContactPoint,
  kToDate,
  kToDateTime,
  kToTime,
};

enum class TranslateOutput : std::uint8_t {
  kByTarget,  // as the target element's type asks
  kCode,
  kSystem,
  kDisplay,
  kCoding,
  kCodeableConcept,
};

struct TargetStep {
  const shapes::Element* element = nullptr;  // nullptr: looked up at run time
  const shapes::Member* member = nullptr;    // nullptr: the value's type chooses
  const json::Name* name = nullptr;
  bool primitive_value = false;  // .value of a primitive
  Place place;
};

struct CompiledTarget {
  Slot context = kNoSlot;
  std::vector<TargetStep> steps;  // none: a new name for the context, or a value without a place
  TransformKind transform = TransformKind::kNone;
  std::vector<CompiledArgument> arguments;
  shapes::TypeId type = shapes::kNoType;  // of create and cast
  const ConceptMap* table = nullptr;
  TranslateOutput output = TranslateOutput::kByTarget;
  bool from_ticks = false;  // the value counts seconds of Unix time
  Slot slot = kNoSlot;
  TargetListModes list;
  std::uint16_t share = 0;  // number of the shared rule list in its group, from 1; 0: not shared
  Place place;
};

struct Instance;

struct CompiledCall {
  const Instance* instance = nullptr;
  std::vector<CompiledArgument> arguments;
  Place place;
};

struct CompiledRule {
  const RuleLabel* label = nullptr;  // shared by all instances of one rule of the text
  Place place;
  // src.a -> tgt.b; : the default group for the types, or a copy.
  bool simple = false;
  const Instance* simple_call = nullptr;  // known at compile time; otherwise found by the types
  std::vector<CompiledSource> sources;
  std::vector<CompiledTarget> targets;
  std::vector<CompiledCall> calls;
  std::vector<CompiledRule> rules;
};

struct ParsedMap;

struct Instance {
  const ParsedMap* map = nullptr;
  const Group* group = nullptr;
  std::vector<shapes::TypeId> types;  // of the inputs; kNoType: open
  std::uint16_t slot_count = 0;       // inputs first
  bool has_shares = false;
  const Instance* base = nullptr;  // the extended group's
  std::vector<CompiledRule> rules;
};

// --- The set

struct DefaultGroup {
  shapes::TypeId source = shapes::kNoType;
  shapes::TypeId target = shapes::kNoType;
  TypeMode mode = TypeMode::kTypes;
  const Instance* instance = nullptr;
};

// A map with what was looked up for it.
struct ParsedMap {
  Map map;
  std::unordered_map<std::string, shapes::TypeId> aliases;
  std::vector<const ParsedMap*> imports;
  std::vector<DefaultGroup> own_defaults;
  std::vector<DefaultGroup> imported_defaults;
  // Values of LoadOptions::constants, then of the map's own `let` lines.
  std::vector<fhirpath::Items> constants;
};

// A rule of the text, for coverage and lineage.
struct RuleInfo {
  const ParsedMap* map = nullptr;
  const Group* group = nullptr;
  const Rule* rule = nullptr;
  RuleLabel label;
};

// Member names that the transforms write.
struct TransformNames {
  const json::Name *resource_type, *id, *coding, *system, *code, *display, *text, *value, *unit,
      *comparator, *type, *reference;
};

class Program {
 public:
  explicit Program(const shapes::Catalog& shapes)
      : catalog(shapes), types(shapes.types(), shapes.names()) {}

  const shapes::Catalog& catalog;
  fhirpath::Types types;
  // By TypeId: the primitive whose lexical rules a text must meet; nothing for the other types.
  std::vector<std::optional<fhir::Primitive>> primitives;
  LoadOptions options;
  std::vector<fhirpath::HostFunction> functions;  // of the options, in FHIRPath's form
  TransformNames names{};
  std::deque<ParsedMap> maps;
  std::vector<MapInfo> infos;
  std::deque<ConceptMap> tables;
  std::deque<Instance> instances;
  std::vector<const Instance*> entry_points;  // by GroupInfo::id
  std::deque<RuleInfo> rules;                 // by RuleLabel::number
  // What the maps read, for lint: elements of known types, and names in expressions or on open
  // types.
  std::set<std::pair<shapes::TypeId, const json::Name*>> elements_read;
  std::set<std::string, std::less<>> names_read;
  std::deque<std::string> texts;  // what literals, names and places borrow
  std::deque<base::Decimal> decimals;
  std::deque<std::vector<fhirpath::Item>> constant_items;
  std::deque<fhirpath::Expression> constant_expressions;  // own what constants borrow
  fhirpath::Workspace workspace;                          // likewise
};

}  // namespace engine::mapping

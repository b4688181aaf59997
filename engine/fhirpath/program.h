#pragma once
// The compiled form of an expression: a tree whose names are resolved to the type model's pointers.
// Internal to the folder. Immutable once compiled; nodes live in the program's arena.

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include <re2/re2.h>

#include "engine/base/arena.h"
#include "engine/fhirpath/fhirpath.h"
#include "engine/fhirpath/lexer.h"
#include "engine/fhirpath/types.h"

namespace engine::fhirpath {

struct Function;

enum class Op : std::uint8_t {
  kLiteral,
  kEmpty,
  kThis,
  kIndex,
  kTotal,
  kVariable,
  kMember,     // a child by name
  kFunction,   // name(arguments) on the input
  kHostCall,   // a function of the host
  kSubscript,  // [argument] on the input
  kPath,       // the first argument's result is the input of the second, and so on
  kNegate,
  kPlus,
  kDescending,  // a sort key
  kIs,
  kAs,
  kMultiply,
  kDivide,
  kDiv,
  kMod,
  kAdd,
  kSubtract,
  kConcatenate,
  kUnion,
  kLess,
  kLessEqual,
  kGreater,
  kGreaterEqual,
  kEqual,
  kNotEqual,
  kEquivalent,
  kNotEquivalent,
  kIn,
  kContains,
  kAnd,
  kOr,
  kXor,
  kImplies,
};
std::string_view name_of(Op op);

enum class Variable : std::uint8_t {
  kContext,
  kResource,
  kRootResource,
  kDeclared,  // one of Options::variables, by index
  kDefined,   // by defineVariable(), by name
};

// The type named in is, as, ofType: a type of the model, of the language, or both (an unqualified
// Quantity).
struct TypeSpecifier {
  shapes::TypeId node_type = shapes::kNoType;
  ItemKind system = ItemKind::kNothing;
  bool any = false;       // System.Any
  bool is_long = false;   // System.Long
  std::string_view name;  // as written, for untyped documents
};

struct Tree {
  Op op = Op::kEmpty;
  Variable variable = Variable::kContext;
  bool root = false;  // a member that starts an expression: may name the context's type
  std::uint16_t depth = 1;
  std::uint32_t begin = 0;  // bytes in the text
  std::uint32_t end = 0;
  std::uint32_t count = 0;
  Tree** args = nullptr;
  Item literal;           // kLiteral; constants made at compile time
  std::string_view name;  // of a member, function or variable
  // kMember: the element for items of exactly `type`, looked up at compile time; others are looked
  // up when met.
  const shapes::Element* element = nullptr;
  shapes::TypeId type = shapes::kNoType;
  const json::Name* member = nullptr;  // the name in the shared table; nullptr when it is not there
  const json::Name* companion = nullptr;  // "_name", likewise
  shapes::TypeId root_type = shapes::kNoType;
  const Function* function = nullptr;
  const HostFunction* host = nullptr;
  const TypeSpecifier* specifier = nullptr;
  const re2::RE2* pattern = nullptr;  // of a literal regular expression
  std::uint32_t index = 0;            // kDeclared
  // Of a choice element: a bit for each (name id mod 64) of its members, so that most other
  // members of an object are passed over without a look-up.
  std::uint64_t choice_mask = 0;
};

class Program {
 public:
  std::string text;
  json::Position origin = {1, 1};
  const Types* types = nullptr;
  bool as_filters = false;
  std::vector<HostFunction> functions;
  std::vector<std::unique_ptr<re2::RE2>> patterns;
  base::Arena arena;
  const Tree* root = nullptr;
};

// Reads the whole text into a tree in the arena, names unresolved. Throws SyntaxError.
Tree* parse_tree(std::string_view text, base::Arena& arena);
// Like parse_prefix(); throws SyntaxError.
std::size_t parse_tree_prefix(std::string_view text, base::Arena& arena);

// Resolves names and types and checks what can be checked. Throws SyntaxError.
void analyze(Program& program, Tree& root, const Options& options);

// The tree as indented lines.
std::string print_tree(const Tree& tree);

// Of a date, time, number or string literal and the like, printed as it would be written.
std::string print_literal(const Item& item);

}  // namespace engine::fhirpath

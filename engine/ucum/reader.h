#pragma once
// Reads a code by the grammar of UCUM 2.2 sections 2 to 11. Not for other folders.
//   main = ["/"] term      term = component {("." | "/") component}, from left to right
//   component = (symbol [exponent] | factor | "(" term ")") [annotation] | annotation
// An annotation after a factor or a parenthesis, and blanks in one, go beyond UCUM's letter; the
// common codes that FHIR R4 publishes have both ("/100{WBC}", "{3 times}/d").

#include <string_view>

#include "engine/ucum/table.h"

namespace engine::ucum {

enum class Fault : std::uint8_t {
  kNone,
  kEmpty,
  kTooLong,
  kTooDeep,
  kTooLarge,
  kBadCharacter,
  kUnknownSymbol,
  kUndefinedSymbol,  // known, but not worked out yet; only while a table is being built
  kComponentExpected,
  kOperatorExpected,
  kOpenParenthesis,
  kOpenBracket,
  kOpenAnnotation,
  kZeroFactor,
  kBadExponent,
  kSpecialCombined,
};

struct Failure {
  Fault fault = Fault::kNone;
  std::size_t at = 0;       // byte offset in the code
  std::string_view symbol;  // of kUnknownSymbol and kUndefinedSymbol
};

// One part of a code in the order written, for display.
struct Piece {
  enum class Kind : std::uint8_t {
    kSymbol,
    kFactor,
    kAnnotation,
    kMultiply,
    kDivide,
    kOpen,
    kClose
  };
  Kind kind;
  const Entry* entry = nullptr;
  int exponent = 1;
  std::string_view text = {};
};

class CodeReader {
 public:
  CodeReader(const Rows& rows, std::string_view code) : rows_(rows), code_(code) {}

  // False with failure() set.
  bool read(Unit& out);
  const Failure& failure() const { return failure_; }
  void record(std::vector<Piece>* pieces) { pieces_ = pieces; }

 private:
  bool term(Unit& out, int depth);
  bool component(Unit& out, int depth);
  bool symbol(Unit& out);
  bool atom(std::size_t start, std::size_t end, int exponent, Unit& out);
  bool factor(std::size_t start, std::size_t end, Unit& out);
  bool annotation();
  bool optional_annotation();
  bool scan(std::size_t& end);
  bool fail(Fault fault, std::size_t at) {
    failure_ = {fault, at, {}};
    return false;
  }
  void note(Piece piece) {
    if (pieces_ != nullptr) {
      pieces_->push_back(piece);
    }
  }

  const Rows& rows_;
  std::string_view code_;
  std::size_t at_ = 0;
  Failure failure_;
  std::vector<Piece>* pieces_ = nullptr;
};

}  // namespace engine::ucum

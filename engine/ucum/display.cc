// Codes in words.

#include "engine/ucum/reader.h"

namespace engine::ucum {
namespace {

void append_symbol(const Rows& rows, const Piece& piece, std::string& out) {
  out += '(';
  if (piece.entry->prefix != 0) {
    out += rows.prefixes[piece.entry->prefix - 1U].name;
  }
  out += rows.atoms[piece.entry->atom].name;
  if (piece.exponent != 1) {
    out += " ^ " + std::to_string(piece.exponent);
  }
  out += ')';
}

}  // namespace

base::Result<std::string> UnitTable::display(std::string_view code) const {
  if (code.empty() || code == "1") {
    return std::string("(unity)");
  }
  std::vector<Piece> pieces;
  CodeReader reader(*rows_, code);
  reader.record(&pieces);
  Unit unit;
  if (!reader.read(unit)) {
    return parse(code).error();
  }
  std::string out;
  for (std::size_t i = 0; i < pieces.size(); ++i) {
    const Piece& piece = pieces[i];
    switch (piece.kind) {
      case Piece::Kind::kSymbol:
        append_symbol(*rows_, piece, out);
        break;
      case Piece::Kind::kFactor:
        out += piece.text;
        break;
      case Piece::Kind::kAnnotation:
        out += (i != 0 && pieces[i - 1].kind == Piece::Kind::kSymbol) ? " {" : "{";
        out.append(piece.text).append("}");
        break;
      case Piece::Kind::kMultiply:
        out += " * ";
        break;
      case Piece::Kind::kDivide:
        out += i == 0 ? "1 / " : " / ";
        break;
      case Piece::Kind::kOpen:
        out += '(';
        break;
      case Piece::Kind::kClose:
        out += ')';
        break;
    }
  }
  return out;
}

}  // namespace engine::ucum

#include "engine/fhirpath/fhirpath.h"

namespace engine::fhirpath {

base::Result<Expression> compile(std::string_view, const Options&) {
  return base::Error(base::ErrorCode::kUnsupported, "this build evaluates no expressions", "1:1");
}

base::Result<std::size_t> parse_prefix(std::string_view, json::Position) {
  return base::Error(base::ErrorCode::kUnsupported, "this build reads no expressions", "1:1");
}

class Program {};
struct Workspace::State {};

Expression::Expression(std::unique_ptr<const Program> program) : program_(std::move(program)) {}
Expression::~Expression() = default;
Expression::Expression(Expression&&) noexcept = default;
Expression& Expression::operator=(Expression&&) noexcept = default;
Workspace::Workspace() = default;
Workspace::~Workspace() = default;
Workspace::Workspace(Workspace&&) noexcept = default;
Workspace& Workspace::operator=(Workspace&&) noexcept = default;

}  // namespace engine::fhirpath

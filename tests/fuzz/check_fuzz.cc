// Checking any JSON: it ends, within its bounds, and says as much the second time. Run from the top
// of the tree (profiles/r4 is read).
// links: engine_check

#include <cstddef>
#include <cstdint>
#include <string_view>

#include "engine/base/check.h"
#include "engine/base/limits.h"
#include "engine/check/check.h"
#include "tests/check/r4.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  namespace check = engine::check;
  namespace fhir = engine::fhir;
  static engine::json::Document document(testing_r4::catalog().names());
  static check::Scratch scratch;
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  if (!document.parse(text)) {
    return 0;
  }
  check::Options options;
  options.text = text;
  const fhir::Issues first = testing_r4::checker().check(*document.root(), options, scratch);
  const fhir::Issues again = testing_r4::checker().check(*document.root(), options, scratch);
  ENGINE_CHECK(first.size() == again.size());
  ENGINE_CHECK(first.size() <= engine::base::limits::kIssuesMax + 1);
  for (const fhir::Issue& issue : first) {
    ENGINE_CHECK(!issue.text.empty());
  }
  ENGINE_CHECK(!fhir::to_operation_outcome(first).empty());
  return 0;
}

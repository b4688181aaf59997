#pragma once
// Conditions on session documents, in FHIRPath: which sessions a record server is meant for. They
// ask the document itself and decide nothing about what is made of it.

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "engine/base/result.h"
#include "engine/fhirpath/fhirpath.h"
#include "engine/json/node.h"
#include "engine/therapy/session_model.h"

namespace engine::therapy {

enum class Meets : std::uint8_t {
  kNo,  // false, or empty
  kYes,
  kUndecided,  // the expression cannot be evaluated on this document
};

struct Condition {
  std::string whose;  // whom an error is about: "target 'main'"
  std::string text;
};

class Conditions {
 public:
  // For the documents of a model whose catalog is frozen. Errors: kInvalid and kLimit with whose it
  // is, the expression and the place in it; an element that no session document has is one.
  static base::Result<Conditions> compile(std::span<const Condition> conditions,
                                          const SessionModel& model);

  // One answer for each, in their order. Called from many threads.
  std::vector<Meets> ask(const json::Node& document) const;
  bool empty() const { return expressions_.empty(); }

 private:
  // Expressions point into it.
  std::unique_ptr<const fhirpath::Types> types_;
  std::vector<fhirpath::Expression> expressions_;
};

}  // namespace engine::therapy

#pragma once
// The logical model of the session document as the engine uses it: its types, and which elements of
// an entry are kinds. A kind is an element of entry that is not part of the frame below; each needs
// a map of its own. Immutable after load.

#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/json/node.h"
#include "engine/shapes/catalog.h"

namespace engine::therapy {

inline constexpr std::string_view kModelUrl =
    "https://chartferry.example/fhir/StructureDefinition/TherapySession";

// Elements of entry that are its frame and not a kind.
inline constexpr std::string_view kFrameElements[] = {"recordedBy", "absent", "frame"};
// Elements that the engine makes; refused in what is sent.
inline constexpr std::string_view kComputedElements[] = {"finding", "frame"};

struct Kind {
  const json::Name* name = nullptr;
  shapes::TypeId type = shapes::kNoType;
};

class SessionModel {
 public:
  // Errors: kNotFound when the catalog has no such model, kInvalid when it lacks what every session
  // document has.
  static base::Result<SessionModel> load(const shapes::Catalog& catalog);

  const shapes::Catalog& catalog() const { return *catalog_; }
  const shapes::Shape& shape() const { return *shape_; }
  shapes::TypeId session() const { return session_; }
  shapes::TypeId entry() const { return entry_; }
  shapes::TypeId session_frame() const { return session_frame_; }
  shapes::TypeId entry_frame() const { return entry_frame_; }
  const std::vector<Kind>& kinds() const { return kinds_; }

  // The index in kinds() of an entry's kind; -1 when it has none. The first, when it has several.
  int kind_of(const json::Node& entry) const;

 private:
  const shapes::Catalog* catalog_ = nullptr;
  const shapes::Shape* shape_ = nullptr;
  shapes::TypeId session_ = shapes::kNoType;
  shapes::TypeId entry_ = shapes::kNoType;
  shapes::TypeId session_frame_ = shapes::kNoType;
  shapes::TypeId entry_frame_ = shapes::kNoType;
  std::vector<Kind> kinds_;
};

}  // namespace engine::therapy

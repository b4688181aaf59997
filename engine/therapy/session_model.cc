#include "engine/therapy/session_model.h"

#include <algorithm>
#include <iterator>

namespace engine::therapy {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

shapes::TypeId child_type(const shapes::Catalog& catalog, shapes::TypeId type,
                          std::string_view member) {
  const json::Name* name = catalog.names().find(member);
  if (name == nullptr || type == shapes::kNoType) {
    return shapes::kNoType;
  }
  const shapes::Member* found = catalog.types().member(type, name);
  return found != nullptr ? found->type : shapes::kNoType;
}

}  // namespace

Result<SessionModel> SessionModel::load(const shapes::Catalog& catalog) {
  SessionModel model;
  model.catalog_ = &catalog;
  model.shape_ = catalog.find_shape(kModelUrl);
  if (model.shape_ == nullptr) {
    return Error(ErrorCode::kNotFound,
                 "the profiles hold no logical model " + std::string(kModelUrl),
                 "profiles/session");
  }
  model.session_ = model.shape_->type;
  model.entry_ = child_type(catalog, model.session_, "entry");
  model.session_frame_ = child_type(catalog, model.session_, "frame");
  model.entry_frame_ = child_type(catalog, model.entry_, "frame");
  for (const std::string_view needed : {"identifier", "patient", "therapist", "period"}) {
    if (child_type(catalog, model.session_, needed) == shapes::kNoType) {
      return Error(ErrorCode::kInvalid,
                   "the session document's model has no element '" + std::string(needed) + "'",
                   std::string(kModelUrl));
    }
  }
  if (model.entry_frame_ == shapes::kNoType || model.session_frame_ == shapes::kNoType) {
    return Error(ErrorCode::kInvalid, "the session document's model has no frame of an entry",
                 std::string(kModelUrl));
  }
  const shapes::TypeModel& types = catalog.types();
  for (const shapes::Element& element : types.info(model.entry_).elements) {
    const shapes::Member& member = element.members.front();
    const bool is_frame = std::find(std::begin(kFrameElements), std::end(kFrameElements),
                                    element.stem->text) != std::end(kFrameElements);
    if (!element.choice && !is_frame && member.type != shapes::kNoType &&
        types.info(member.type).kind == shapes::TypeKind::kBackbone) {
      model.kinds_.push_back({member.name, member.type});
    }
  }
  return model;
}

int SessionModel::kind_of(const json::Node& entry) const {
  for (const json::Node& member : entry) {
    for (std::size_t i = 0; i < kinds_.size(); ++i) {
      if (kinds_[i].name == member.name) {
        return static_cast<int>(i);
      }
    }
  }
  return -1;
}

}  // namespace engine::therapy

#include "engine/journal/sql.h"

namespace engine::journal::sql {

Run& Run::digest(const base::Digest& value) {
  std::string_view bytes(reinterpret_cast<const char*>(value.data()), value.size());
  return blob(bytes);
}

base::Result<void> Run::finish() {
  base::Result<bool> stepped = step();
  if (!stepped) {
    return std::move(stepped).error();
  }
  return {};
}

}  // namespace engine::journal::sql

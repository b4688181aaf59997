#include "engine/cli/map_batch.h"

#include <cstdio>
#include <map>
#include <memory>
#include <string>

#include "engine/cli/batch.h"
#include "engine/cli/commands.h"
#include "engine/cli/map_bench.h"
#include "engine/json/write.h"

namespace engine::cli {
namespace {

using base::Error;
using base::ErrorCode;
using base::Result;

// Maps that were seen already: a stream mostly repeats a few.
class MapCache {
 public:
  explicit MapCache(std::shared_ptr<const shapes::Catalog> catalog)
      : catalog_(std::move(catalog)) {}

  Result<const MapBench*> get(std::string_view text) {
    const auto known = benches_.find(text);
    if (known != benches_.end()) {
      return known->second.get();
    }
    const base::SourceFile file{"request.map", std::string(text)};
    Result<MapBench> opened = MapBench::open(catalog_, {&file, 1});
    if (!opened) {
      return std::move(opened).error();
    }
    constexpr std::size_t kMapsKeptMax = 64;
    if (benches_.size() >= kMapsKeptMax) {
      benches_.clear();
    }
    return benches_.emplace(file.bytes, std::make_unique<MapBench>(std::move(*opened)))
        .first->second.get();
  }

 private:
  std::shared_ptr<const shapes::Catalog> catalog_;
  std::map<std::string, std::unique_ptr<MapBench>, std::less<>> benches_;
};

Result<void> answer(MapCache& cache, const json::Node& request, std::string& out) {
  const json::Node* map = request.find("map");
  if (map == nullptr || !map->is_string()) {
    return Error(ErrorCode::kInvalid, "a map is expected", "map");
  }
  const json::Node* source = request.find("source");
  if (source == nullptr || !source->is_object()) {
    return Error(ErrorCode::kInvalid, "an object is expected", "source");
  }
  Result<const MapBench*> bench = cache.get(map->text());
  if (!bench) {
    return std::move(bench).error();
  }
  Result<MapOutcome> ran = (*bench)->run((*bench)->maps().maps()[0].groups[0], {&source, 1}, false);
  if (!ran) {
    return std::move(ran).error();
  }
  out += R"(,"result":)";
  out += ran->compact;
  return {};
}

}  // namespace

int run_map_batch() {
  Result<std::unique_ptr<shapes::Catalog>> loaded = load_map_catalog({});
  if (!loaded) {
    std::fprintf(stderr, "chartferry: %s\n", loaded.error().text().c_str());
    return kUsage;
  }
  const std::shared_ptr<const shapes::Catalog> catalog = std::move(*loaded);
  MapCache cache(catalog);
  return run_batch(catalog->names(), [&cache](const json::Node& request, std::string& out) {
    return answer(cache, request, out);
  });
}

}  // namespace engine::cli

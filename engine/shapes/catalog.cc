#include "engine/shapes/catalog.h"

#include <algorithm>
#include <charconv>
#include <utility>

#include "engine/shapes/catalog_builder.h"
#include "engine/shapes/catalog_store.h"

namespace engine::shapes {

using base::Result;

Catalog::Catalog() : store_(std::make_unique<CatalogStore>(names_)) {}
Catalog::~Catalog() = default;

SplitCanonical split_canonical(std::string_view canonical) {
  canonical = canonical.substr(0, canonical.find('#'));
  const std::size_t bar = canonical.find('|');
  if (bar == std::string_view::npos) {
    return {canonical, {}};
  }
  return {canonical.substr(0, bar), canonical.substr(bar + 1)};
}

namespace {

std::string_view take_part(std::string_view& rest) {
  const std::size_t end = rest.find('.');
  const std::string_view part = rest.substr(0, end);
  rest = end == std::string_view::npos ? std::string_view() : rest.substr(end + 1);
  return part;
}

int compare_parts(std::string_view a, std::string_view b) {
  std::uint64_t x = 0;
  std::uint64_t y = 0;
  const auto a_read = std::from_chars(a.data(), a.data() + a.size(), x);
  const auto b_read = std::from_chars(b.data(), b.data() + b.size(), y);
  const bool a_number = a_read.ec == std::errc() && a_read.ptr == a.data() + a.size();
  const bool b_number = b_read.ec == std::errc() && b_read.ptr == b.data() + b.size();
  if (a_number && b_number) {
    return x < y ? -1 : (x > y ? 1 : 0);
  }
  if (a_number != b_number) {
    return a_number ? -1 : 1;  // semantic versions: numbers are lower than words
  }
  return a < b ? -1 : (a > b ? 1 : 0);
}

int compare_dotted(std::string_view a, std::string_view b) {
  while (!a.empty() || !b.empty()) {
    if (a.empty() || b.empty()) {
      return a.empty() ? -1 : 1;
    }
    const std::string_view x = take_part(a);
    const std::string_view y = take_part(b);
    if (const int order = compare_parts(x, y); order != 0) {
      return order;
    }
  }
  return 0;
}

}  // namespace

int compare_versions(std::string_view a, std::string_view b) {
  a = a.substr(0, a.find('+'));
  b = b.substr(0, b.find('+'));
  const std::size_t a_dash = a.find('-');
  const std::size_t b_dash = b.find('-');
  const int core = compare_dotted(a.substr(0, a_dash), b.substr(0, b_dash));
  if (core != 0 || (a_dash == b_dash && a_dash == std::string_view::npos)) {
    return core;
  }
  if (a_dash == std::string_view::npos || b_dash == std::string_view::npos) {
    return a_dash == std::string_view::npos ? 1 : -1;
  }
  return compare_dotted(a.substr(a_dash + 1), b.substr(b_dash + 1));
}

namespace {

// The packages that an artefact of `package` may mean: it and what it depends on.
std::vector<std::string_view> closure_of(const CatalogStore& store, std::string_view package) {
  std::vector<std::string_view> closure{package};
  for (std::size_t i = 0; i < closure.size() && i < base::limits::kDefinitionChainMax; ++i) {
    for (const Package& known : store.packages) {
      if (known.id != closure[i]) {
        continue;
      }
      for (const std::string_view dependency : known.dependencies) {
        if (std::find(closure.begin(), closure.end(), dependency) == closure.end()) {
          closure.push_back(dependency);
        }
      }
    }
  }
  return closure;
}

template <class Entry>
bool is_better(const Entry& candidate, const Entry& best) {
  if (candidate.is_retired != best.is_retired) {
    return best.is_retired;
  }
  return compare_versions(candidate.version, best.version) > 0;
}

template <class T>
const T* resolve(const CatalogStore& store, const CanonicalIndex<T>& index,
                 std::string_view canonical, std::string_view from_package) {
  const SplitCanonical wanted = split_canonical(canonical);
  const auto* entries = index.entries(wanted.url);
  if (entries == nullptr) {
    return nullptr;
  }
  if (!wanted.version.empty()) {
    for (const auto& entry : *entries) {
      if (entry.version == wanted.version) {
        return entry.item;
      }
    }
    return nullptr;
  }
  if (entries->size() == 1) {
    return entries->front().item;
  }
  if (!from_package.empty()) {
    for (const std::string_view package : closure_of(store, from_package)) {
      for (const auto& entry : *entries) {
        if (entry.package == package) {
          return entry.item;
        }
      }
    }
  }
  const auto* best = &entries->front();
  for (const auto& entry : *entries) {
    best = is_better(entry, *best) ? &entry : best;
  }
  return best->item;
}

}  // namespace

const Shape* Catalog::find_shape(std::string_view canonical, std::string_view from_package) const {
  return resolve(*store_, store_->shapes_by_url, canonical, from_package);
}

const ValueSet* Catalog::find_value_set(std::string_view canonical,
                                        std::string_view from_package) const {
  return resolve(*store_, store_->value_sets_by_url, canonical, from_package);
}

const CodeSystem* Catalog::find_code_system(std::string_view canonical,
                                            std::string_view from_package) const {
  return resolve(*store_, store_->code_systems_by_url, canonical, from_package);
}

std::size_t Catalog::bytes() const {
  std::size_t total = store_->arena.total_bytes() + store_->values.arena().total_bytes();
  for (const std::string& text : store_->texts) {
    total += text.capacity();
  }
  for (const CodeSystem& system : store_->code_systems) {
    total += system.codes.codes().size() * 28;
  }
  for (const ValueSet& set : store_->value_sets) {
    for (const ValueSetPart& part : set.parts) {
      total += sizeof(part) + part.codes.codes().size() * 24;
    }
  }
  return total + names_.size() * 64 + store_->shapes.size() * sizeof(Shape);
}

namespace {

bool is_facts(std::string_view name) {
  return name.ends_with(".facts");
}

}  // namespace

Result<void> Catalog::fill(std::span<const base::SourceView> files) {
  CatalogBuilder builder(*this);
  std::vector<FactSet> sets;
  std::vector<base::SourceFile> definitions;
  for (const base::SourceView& file : files) {
    if (is_facts(file.name)) {
      Result<FactSet> set = read_facts(file.name, file.bytes, builder.arena());
      if (!set) {
        return std::move(set).error();
      }
      sets.push_back(std::move(*set));
    } else if (file.name.ends_with(".json")) {
      definitions.push_back({std::string(file.name), std::string(file.bytes)});
    }
  }
  Result<void> added = builder.add_facts(sets);
  if (!added) {
    return added;
  }
  builder.link();
  if (!definitions.empty()) {
    for (const fhir::Issue& issue : add(definitions)) {
      if (issue.severity == fhir::Severity::kError) {
        return base::Error(base::ErrorCode::kInvalid, issue.text, issue.expression);
      }
    }
  }
  return {};
}

Result<std::unique_ptr<Catalog>> Catalog::load(std::span<const base::SourceView> files) {
  std::unique_ptr<Catalog> catalog(new Catalog());
  Result<void> filled = catalog->fill(files);
  if (!filled) {
    return std::move(filled).error();
  }
  return catalog;
}

Result<std::unique_ptr<Catalog>> Catalog::load(std::span<const base::SourceFile> files) {
  std::unique_ptr<Catalog> catalog(new Catalog());
  std::vector<base::SourceView> views;
  for (const base::SourceFile& file : files) {
    // The tables borrow from the facts, so the catalog keeps its own copy.
    std::string_view bytes = file.bytes;
    if (is_facts(file.name)) {
      bytes = catalog->store_->texts.emplace_back(file.bytes);
    }
    views.push_back({file.name, bytes});
  }
  Result<void> filled = catalog->fill(views);
  if (!filled) {
    return std::move(filled).error();
  }
  return catalog;
}

}  // namespace engine::shapes

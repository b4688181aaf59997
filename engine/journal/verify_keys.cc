#include "engine/journal/verify_keys.h"

#include <algorithm>
#include <utility>

#include "engine/base/hash.h"
#include "engine/journal/seal.h"
#include "engine/journal/search_key.h"

namespace engine::journal {
namespace {

using base::Result;
using Faults = std::vector<std::string>;

// Also of those that nothing is sealed with yet: what comes for their patients could not be.
void check_data_keys(const Sealing* sealing, const KeysById& keys, Faults& out) {
  for (const auto& [id, key] : keys) {
    auto good = check_form(key);
    if (good && sealing != nullptr) {
      const auto opened = unwrap(key, sealing->masters);
      good = opened ? Result<void>() : opened.error();
    }
    if (!good) {
      out.push_back("key " + base::to_hex(id) + ": " + good.error().detail);
    }
  }
}

// By what is there now: somebody may have begun to seal, or exchanged the key, meanwhile.
Result<bool> is_borne_out(const Store& store, const std::string& master) {
  const auto keys = store.body_keys();
  const auto marks = newest_start_marks(store);
  const auto rekeyed = store.newest(Kind::kRekeyed);
  if (!keys || !marks || !rekeyed) {
    return !keys ? keys.error() : !marks ? marks.error() : rekeyed.error();
  }
  return std::any_of(keys->begin(), keys->end(),
                     [&](const WrappedKey& key) { return key.master == master; }) ||
         (*marks && (*marks)->master == master) ||
         (*rekeyed && (*rekeyed)->reason == "master=" + master);
}

// A row that nothing bears out keeps every engine from starting; without the row an engine keeps
// bodies in clear.
Result<void> check_master(const Store& store, bool any_key, const std::string& master,
                          const std::optional<StartMarks>& marks, Faults& out) {
  if (master.empty() && any_key) {
    out.emplace_back(
        "the journal has data keys, and the table body_master does not say which master key is in "
        "force");
  } else if (master.empty() && marks && !marks->master.empty()) {
    out.push_back("bodies are sealed under the master key " + marks->master +
                  ", and the table body_master does not say so");
  }
  if (master.empty() || !marks || marks->master == master) {
    return {};
  }
  const auto borne_out = is_borne_out(store, master);
  if (borne_out && !*borne_out) {
    out.push_back("the table body_master says that bodies are sealed under the master key " +
                  master + ", and neither a record nor a data key does");
  }
  return borne_out ? Result<void>() : borne_out.error();
}

// Every start wrote the row before itself.
Result<void> check_search_key(const Store& store, const std::optional<StartMarks>& marks,
                              Faults& out) {
  const auto mark = store.agreed(kSearchKeyMark);
  if (!mark && mark.error().code != base::ErrorCode::kCorrupt) {
    return mark.error();
  }
  if (!mark) {
    out.push_back(mark.error().detail);
  } else if (marks && mark->empty()) {
    out.emplace_back(
        "the table agreed does not say which key the patients are hidden with, and the starts do");
  } else if (marks && *mark != marks->search_key) {
    out.emplace_back(
        "the table agreed names another key that hides the patients than the starts do");
  }
  return {};
}

Result<void> check_copied(const Store& store, Faults& out) {
  const auto copying = store.agreed(kCopying);
  if (copying && !copying->empty()) {
    out.emplace_back("another journal was not copied into this one to its end");
  }
  return copying || copying.error().code == base::ErrorCode::kCorrupt ? Result<void>()
                                                                      : copying.error();
}

}  // namespace

Result<Faults> check_keys(const Store& store, const KeysById& keys, const std::string& master,
                          const std::optional<StartMarks>& marks) {
  Faults out;
  check_data_keys(store.sealing(), keys, out);
  auto checked = check_master(store, !keys.empty(), master, marks, out);
  if (checked) {
    checked = check_search_key(store, marks, out);
  }
  if (checked) {
    checked = check_copied(store, out);
  }
  return checked ? Result<Faults>(std::move(out)) : checked.error();
}

}  // namespace engine::journal

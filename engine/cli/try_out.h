#pragma once
// Changed maps and code tables, tried in memory: compiled over the set in force, and one document
// or recorded traffic put through both. Nothing is sent, kept or put in force. Slow: for a thread
// of its own.

#include <functional>
#include <memory>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/seams.h"
#include "engine/cli/mapping_sets.h"
#include "engine/journal/store.h"
#include "engine/web/try_out_control.h"

namespace engine::cli {

// The maps and tables in force as JSON: {"set","files":[{"name","hash","bytes"}]}, and the text of
// one. Errors: kNotFound, kIo.
base::Result<std::string> files_in_force(const MappingSets& sets);
base::Result<std::string> file_in_force(const MappingSets& sets, std::string_view name);

// A set that was compiled from the files in force with others laid over them.
struct TrialSet {
  std::string key;  // of the set in force and the files
  MappingSets::InForce in_force;
  std::shared_ptr<const therapy::Translator> translator;  // nullptr when it does not compile
  std::vector<std::string> changed;                       // names of the files that differ
  std::vector<base::Error> problems;                      // where = "file:line:column"
  std::string failing_sample;  // why an engine would not take it all the same
};
// `known`, when it is of the same files, is given back. Errors: kNotFound, kIo for the files in
// force.
base::Result<std::shared_ptr<const TrialSet>> compile_trial(
    const MappingSets& sets, const std::vector<base::SourceFile>& files,
    std::shared_ptr<const TrialSet> known);

// {"compiled":false,"problems":[...]}
web::TryOutTold told_problems(const TrialSet& trial);
// One document through both sets. `now`: when a document that was never taken in is taken to come.
// Errors: kNotFound, those of the store.
base::Result<web::TryOutTold> try_document(const TrialSet& trial, const journal::Store& store,
                                           const web::TryOutWish& wish, const std::string& now);
// Recorded traffic through both sets, until `enough`. `apart`: targets with sets of their own,
// whose traffic is left out. Errors: those of the store.
base::Result<web::TryOutTold> try_traffic(const TrialSet& trial, const journal::Store& store,
                                          const std::set<std::string>& apart,
                                          const web::TryOutWish& wish,
                                          const std::function<bool()>& enough);

}  // namespace engine::cli

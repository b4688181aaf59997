#pragma once
// The mapping sets of a running engine: the one in force, the one before it, and one that waits.
//
// look() reads the site's folders again. A changed set is taken only when it compiles and its
// samples pass; else the old one stays in force and the reason is shown. Where approval is needed
// the new set waits for a named person, and meanwhile runs in shadow: each translation is also made
// with it, the differences are counted by kind, nothing of it is sent. roll_back() is one step.
//
// Thread safe. Every piece of work pins the set it began with (SessionCore::pinned). Sets are kept
// by hash beside the journal (kept_sets.h), as is which one is in force, so that a restart changes
// nothing by itself.

#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "engine/base/result.h"
#include "engine/cli/kept_sets.h"
#include "engine/cli/translator_files.h"
#include "engine/intake/session_core.h"

namespace engine::cli {

// Counts of what the waiting set would have made otherwise.
class Shadow;

class MappingSets final : public intake::SessionCore {
 public:
  struct Options {
    TranslatorFiles files;         // with_site()
    std::string folder;            // of the kept sets
    bool approval_needed = false;  // a changed set waits for a person
    std::string target = {};       // whose own sets these are; empty: the engine's
    std::vector<therapy::Condition> conditions = {};  // see therapy::Sources
  };
  // Errors: as load_translator() for the site's files when they are to be in force, as
  // KeptSets::load for a set that an earlier run put in force.
  static base::Result<std::unique_ptr<MappingSets>> open(Options options);
  ~MappingSets() override;

  // What became of a look at the files or of a person's word.
  struct Event {
    std::string what;  // "mapping-taken", "mapping-waits", "mapping-refused", ...
    std::string text;  // for the log: name of the set, or why not
    SetIds in_force;   // set when another set is in force now
  };
  // nullopt when the files are as they were.
  std::optional<Event> look();
  // `name` as in status(). Errors: kInvalid for a missing name or reason, kNotFound when the set
  // does not wait.
  base::Result<Event> approve(std::string_view name, std::string_view by, std::string_view why);
  bool waits(std::string_view name) const;
  // Errors: kInvalid, kNotFound when there is no earlier set.
  base::Result<Event> roll_back(std::string_view by, std::string_view why);
  const std::string& target() const { return options_.target; }
  // JSON: {"inForce":{...},"previous"?,"waiting"?:{...,"shadow":{"translations","same",
  // "differences":[{"kind","count"}]}},"problem"?}
  std::string status() const;

  // What is in force now, and the files of a set, for whoever tries changes to them.
  struct InForce {
    SetIds ids;
    std::shared_ptr<const therapy::Translator> translator;
  };
  InForce in_force() const;
  base::Result<therapy::Sources> files_of(const SetIds& ids) const { return kept_.read(ids); }
  const TranslatorFiles& folders() const { return options_.files; }

  // --- SessionCore, by the set in force; references hold until the second change after the call
  therapy::Translator::Admission admit(std::string_view body) const override;
  therapy::Translation translate(std::span<const therapy::Revision> revisions) const override;
  const therapy::Provenance& provenance() const override;
  std::shared_ptr<const SessionCore> pinned() const override;
  // The translator in force, for the texts that it generates.
  const therapy::Translator& translator() const;

 private:
  struct Set {
    SetIds ids;
    std::shared_ptr<const therapy::Translator> translator;
    std::string by;  // who put it in force, and why; empty when nobody had to
    std::string why;
  };
  class Pinned;

  explicit MappingSets(Options options);
  base::Result<Set> load_files() const;
  base::Result<Set> load_kept(const SetIds& ids) const;
  std::string state_file() const;
  base::Result<void> put_in_force(Set set, SetIds set_aside);
  void wait(std::optional<Set> set);
  void repin();
  base::Result<void> write_state(const SetIds& set_aside) const;

  Options options_;
  KeptSets kept_;
  mutable std::mutex mutex_;  // of all that follows
  Set in_force_;
  std::optional<Set> previous_;
  std::optional<Set> waiting_;
  std::shared_ptr<Shadow> shadow_;
  std::shared_ptr<const Pinned> pinned_;
  SetIds set_aside_;  // rolled back from: not taken again until the files change
  std::string seen_;  // what the files were when they were last looked at
  std::string problem_;
};

// The targets for which an engine has put sets of their own in force, by the folder of the kept
// sets.
std::set<std::string> targets_with_sets(const std::string& folder);

}  // namespace engine::cli

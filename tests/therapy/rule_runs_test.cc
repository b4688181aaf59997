// What is told of the rules of a translation to whoever writes maps.

#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "engine/json/document.h"
#include "engine/json/write.h"
#include "tests/therapy/house.h"

namespace engine::therapy {
namespace {

using testing::replaced;
using testing::sample;

constexpr const char* kAccepted = "2026-03-02T09:41:00.000Z";

// The node that an RFC 6901 pointer without escapes names; nullptr when there is none.
const json::Node* at_pointer(const json::Node& root, std::string_view pointer) {
  const json::Node* node = &root;
  while (!pointer.empty() && node != nullptr) {
    pointer.remove_prefix(1);
    const std::string step(pointer.substr(0, pointer.find('/')));
    pointer.remove_prefix(step.size());
    if (!node->is_array()) {
      node = node->find(step);
      continue;
    }
    std::size_t index = std::stoul(step);
    for (node = node->first; node != nullptr && index > 0; --index) {
      node = node->next;
    }
  }
  return node;
}

class RuleRuns : public ::testing::Test {
 protected:
  void translate(const Translator& translator, const std::vector<Revision>& revisions) {
    made_ = translator.translate(revisions, {.rule_runs = true});
    ASSERT_TRUE(told_.parse(made_.rule_runs).has_value()) << made_.rule_runs;
    if (!made_.bundle.empty()) {
      ASSERT_TRUE(bundle_.parse(made_.bundle).has_value());
    }
  }
  // A set with `from` in one of its files replaced.
  std::unique_ptr<Translator> changed(const std::string& name, const std::string& from,
                                      const std::string& to) {
    Sources sources = testing::house_sources();
    for (base::SourceFile& file : sources.mappings) {
      if (file.name == name) {
        file.bytes = replaced(file.bytes, from, to);
      }
    }
    auto loaded = Translator::load(std::move(sources));
    EXPECT_TRUE(loaded) << loaded.error().text();
    return loaded ? std::move(*loaded) : nullptr;
  }
  // The runs of the rule of this name in this file, in their order.
  std::vector<const json::Node*> runs(const std::string& file, const std::string& name) const {
    std::vector<const json::Node*> out;
    for (const json::Node& run : *told_.root()->find("runs")) {
      const json::Node* rule =
          at_pointer(*told_.root(), "/rules/" + std::string(run.find("rule")->text()));
      if (rule->first->text().starts_with(file + ":") && rule->last->text() == name) {
        out.push_back(&run);
      }
    }
    return out;
  }
  static std::string texts(const json::Node& run, std::string_view list, std::string_view member) {
    std::string out;
    if (const json::Node* items = run.find(list)) {
      for (const json::Node& item : *items) {
        out += (out.empty() ? "" : " ") + std::string(item.string_at(member));
      }
    }
    return out;
  }

  json::NameTable names_;
  json::Document told_{names_};
  json::Document bundle_{names_};
  Translation made_;
};

TEST_F(RuleRuns, TellWhatARuleReadAndMade) {
  translate(testing::house(), {{sample("note"), kAccepted}});
  ASSERT_EQ(made_.verdict, Verdict::kReady) << fhir::to_operation_outcome(made_.issues);
  const auto text = runs("entry-note.map", "text");
  ASSERT_EQ(text.size(), 1u) << made_.rule_runs;
  EXPECT_TRUE(text[0]->find("fired")->boolean);
  EXPECT_EQ(texts(*text[0], "read", "at"), "/entry/0/note/text");
  EXPECT_EQ(texts(*text[0], "read", "value"), "Slept badly; wants the family present tomorrow.");
  // What it is said to have made stands in the bundle at that place.
  std::string values;
  for (const json::Node& made : *text[0]->find("made")) {
    const json::Node* there = at_pointer(*bundle_.root(), made.string_at("at"));
    ASSERT_NE(there, nullptr) << made.string_at("at");
    values += made.string_at("at").ends_with("/valueString") ? std::string(there->text()) : "";
  }
  EXPECT_EQ(values, "Slept badly; wants the family present tomorrow.");
  EXPECT_EQ(text[0]->find("broke"), nullptr);
  const auto around = runs("entry-note.map", "note");
  ASSERT_EQ(around.size(), 1u);
  EXPECT_LT(std::stoi(std::string(around[0]->find("depth")->text())),
            std::stoi(std::string(text[0]->find("depth")->text())));
}

TEST_F(RuleRuns, TellWhichRulesFoundNothing) {
  const auto translator = changed("entry-note.map", "x.text as t ->", "x.text as t where false ->");
  translate(*translator, {{sample("note"), kAccepted}});
  const auto text = runs("entry-note.map", "text");
  ASSERT_EQ(text.size(), 1u) << made_.rule_runs;
  EXPECT_FALSE(text[0]->find("fired")->boolean);
  EXPECT_EQ(text[0]->find("read"), nullptr);
  EXPECT_EQ(text[0]->find("made"), nullptr);
  EXPECT_EQ(text[0]->find("broke"), nullptr);
  EXPECT_TRUE(runs("entry-note.map", "note")[0]->find("fired")->boolean);
  // The map of a kind that the session has not got is not reached at all.
  EXPECT_TRUE(runs("entry-vitals.map", "vitals").empty());
}

TEST_F(RuleRuns, NameTheRuleThatBroke) {
  const auto translator =
      changed("entry-note.map", "x.text as t ->", "x.text as t check (t.length() > 1000) ->");
  translate(*translator, {{sample("note"), kAccepted}});
  EXPECT_EQ(made_.hold_reason, "map-failed");
  const auto text = runs("entry-note.map", "text");
  ASSERT_EQ(text.size(), 1u) << made_.rule_runs;
  EXPECT_FALSE(text[0]->find("fired")->boolean);
  ASSERT_NE(text[0]->find("broke"), nullptr);
  EXPECT_NE(text[0]->find("broke")->first->text().find("entry-note.map:"), std::string::npos);
  // Only the innermost one broke, and nothing ran after it.
  std::size_t broken = 0;
  for (const json::Node& run : *told_.root()->find("runs")) {
    broken += run.find("broke") != nullptr ? 1U : 0U;
  }
  EXPECT_EQ(broken, 1u);
  EXPECT_EQ(told_.root()->find("runs")->last, text[0]);
}

TEST_F(RuleRuns, NameTheRuleWhoseTargetBroke) {
  const auto translator = changed("entry-note.map", "obs.value = t \"text\"",
                                  "obs.value = t, obs.value = 'another' \"text\"");
  translate(*translator, {{sample("note"), kAccepted}});
  EXPECT_EQ(made_.hold_reason, "map-failed");
  const auto text = runs("entry-note.map", "text");
  ASSERT_EQ(text.size(), 1u) << made_.rule_runs;
  EXPECT_TRUE(text[0]->find("fired")->boolean);
  ASSERT_NE(text[0]->find("broke"), nullptr);
  EXPECT_EQ(texts(*text[0], "read", "at"), "/entry/0/note/text");
}

TEST_F(RuleRuns, NameTheRuleThatMetACodeWithoutTranslation) {
  const auto translator = changed("concepts/consciousness.csv", "\nA,", "\nZ,");
  translate(*translator, {{sample("vitals"), kAccepted}});
  EXPECT_EQ(made_.hold_reason, "unknown-code");
  const auto found = runs("entry-vitals.map", "value");
  bool told = false;
  for (const json::Node* run : found) {
    if (const json::Node* broke = run->find("broke")) {
      told = broke->first->text().find("'A'") != std::string::npos;
    }
  }
  EXPECT_TRUE(told) << made_.rule_runs;
}

TEST_F(RuleRuns, AreToldOnlyWhenTheyAreWanted) {
  const Revision revision{sample("note"), kAccepted};
  const Translation plain = testing::house().translate({&revision, 1});
  EXPECT_TRUE(plain.rule_runs.empty());
  const Translation told = testing::house().translate({&revision, 1}, {.rule_runs = true});
  EXPECT_FALSE(told.rule_runs.empty());
  EXPECT_EQ(told.bundle, plain.bundle);
  EXPECT_EQ(told.lineage, plain.lineage);
}

TEST_F(RuleRuns, SayOfWhatWasSentBeforeThatItIsNotInTheBundle) {
  const std::string first = sample("note");
  const std::string second = replaced(first, R"("revision": 1)", R"("revision": 2)");
  translate(testing::house(), {{first, kAccepted}, {second, "2026-03-02T10:00:00.000Z"}});
  const auto text = runs("entry-note.map", "text");
  ASSERT_EQ(text.size(), 1u) << made_.rule_runs;
  EXPECT_NE(texts(*text[0], "made", "in").find("nowhere"), std::string::npos) << made_.rule_runs;
}

TEST_F(RuleRuns, ProblemsOfSeveralFilesAreAllTold) {
  Sources sources = testing::house_sources();
  for (base::SourceFile& file : sources.mappings) {
    if (file.name == "entry-note.map" || file.name == "entry-vitals.map") {
      file.bytes = replaced(file.bytes, "obs.value = ", "obs.valve = ");
    }
  }
  std::vector<base::Error> problems;
  EXPECT_FALSE(Translator::load(std::move(sources), &problems));
  ASSERT_EQ(problems.size(), 2u);
  EXPECT_TRUE(problems[0].where.starts_with("entry-note.map:")) << problems[0].where;
  EXPECT_TRUE(problems[1].where.starts_with("entry-vitals.map:")) << problems[1].where;
}

}  // namespace
}  // namespace engine::therapy

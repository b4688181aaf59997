#include "engine/cli/journal_proof.h"

#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <iterator>
#include <map>
#include <optional>
#include <utility>

#include "engine/base/limits.h"
#include "engine/cli/commands.h"
#include "engine/cli/files.h"
#include "engine/cli/journal_export.h"
#include "engine/cli/read_file.h"
#include "engine/cli/shown_text.h"
#include "engine/cli/system_seams.h"
#include "engine/journal/merkle.h"
#include "engine/journal/secret_file.h"
#include "engine/journal/tree_head.h"
#include "engine/journal/verify.h"
#include "engine/json/write.h"

namespace engine::cli {
namespace {

using base::Digest;
using base::Error;
using base::ErrorCode;
using base::Result;
using journal::Store;
using journal::TreeHead;

// What is wrong quotes what somebody may have put there to be read as another verdict: each finding
// is one line, and steers nothing.
int fail(const Error& error) {
  std::fprintf(stderr, "chartferry journal: %s\n", shown_text(error.text()).c_str());
  return kUsage;
}

int no(const std::string& why) {
  std::fprintf(stderr, "chartferry journal: %s\n", shown_text(why).c_str());
  return kNo;
}

// Where the file of the journal's own was left behind, as in a backup: the public half of its
// secret.
Result<std::string> public_pem(const ProofFiles& files) {
  auto pem = read_file(files.key_file());
  if (pem || !files.public_key.empty()) {
    return pem;
  }
  const auto secret = journal::load_secret(files.journal + ".head-key", "");
  return secret ? Result<std::string>(journal::HeadSigner(*secret).public_pem()) : pem;
}

Result<journal::HeadKey> public_key(const ProofFiles& files) {
  auto pem = public_pem(files);
  if (!pem) {
    return std::move(pem).error();
  }
  auto key = journal::HeadKey::from_pem(*pem);
  if (!key) {
    return Error(key.error().code, key.error().detail, files.key_file());
  }
  return key;
}

struct CheckedHeads {
  std::vector<TreeHead> signed_ones;  // by the key
  std::size_t all = 0;
  std::vector<std::string> no_heads;  // lines that are none, a sentence each
  std::vector<std::string> not_ours;  // heads that the key did not sign, likewise
};

// All heads of all files; what is wrong with them goes into `faults`, not into an error. A head
// that the key did not sign agrees with nothing.
CheckedHeads checked_heads(const ProofFiles& files, std::vector<std::string>& faults) {
  CheckedHeads checked;
  const std::vector<std::string> names =
      files.heads.empty() ? std::vector<std::string>{files.all_heads()} : files.heads;
  for (const std::string& name : names) {
    auto file = journal::read_tree_heads(name);
    if (!file) {
      faults.push_back(file.error().text());
      continue;
    }
    const auto no_heads = journal::no_heads_of(*file, name);
    checked.no_heads.insert(checked.no_heads.end(), no_heads.begin(), no_heads.end());
    if (file->heads.empty()) {
      if (!files.heads.empty()) {
        faults.push_back(name + ": holds no tree head");
      }
      continue;
    }
    checked.all += file->heads.size();
    const auto key = public_key(files);
    if (!key) {
      faults.push_back("the tree heads cannot be verified: " + key.error().text());
      continue;
    }
    journal::HeadsFile ours;
    for (std::size_t i = 0; i < file->heads.size(); ++i) {
      const journal::HeadsFile one{{file->heads[i]}, {file->lines[i]}, {}};
      const auto found = journal::check_tree_heads(one, *key, name);
      checked.not_ours.insert(checked.not_ours.end(), found.begin(), found.end());
      if (found.empty()) {
        ours.heads.push_back(std::move(file->heads[i]));
        ours.lines.push_back(file->lines[i]);
      }
    }
    const auto found = journal::check_tree_heads(ours, *key, name);
    faults.insert(faults.end(), found.begin(), found.end());
    std::move(ours.heads.begin(), ours.heads.end(), std::back_inserter(checked.signed_ones));
  }
  return checked;
}

// That what was named on the command line is there at all.
Result<void> check_files(const ProofFiles& files) {
  for (const std::string& name : files.heads) {
    if (std::error_code problem; !std::filesystem::exists(name, problem)) {
      return Error(ErrorCode::kNotFound, "there is no such file of tree heads", name);
    }
  }
  if (!files.public_key.empty()) {
    if (auto key = public_key(files); !key) {
      return std::move(key).error();
    }
  }
  return {};
}

Result<std::vector<Digest>> leaves_of(const Store& store) {
  std::vector<Digest> leaves;
  auto scanned = store.scan(1, [&](journal::Position, std::string_view, const Digest& leaf) {
    leaves.push_back(leaf);
    return true;
  });
  if (!scanned) {
    return scanned.error();
  }
  return leaves;
}

std::string json_text(std::string_view text) {
  std::string out;
  json::write_string(text, out);
  return out;
}

std::string json_of(const TreeHead& head) {
  return "{\"size\":" + std::to_string(head.size) +
         ",\"root\":" + json_text(base::to_hex(head.root)) + ",\"time\":" + json_text(head.time) +
         ",\"key\":" + json_text(head.key) + ",\"signature\":" + json_text(head.signature) + "}";
}

std::string json_of(const std::vector<Digest>& path) {
  std::string out = "[";
  for (const Digest& hash : path) {
    out += (out.size() > 1 ? "," : "") + json_text(base::to_hex(hash));
  }
  return out + "]";
}

// The heads for a proof: without a fault, or what is wrong. A line that is none, or that nobody
// with the key wrote, takes nothing away from a proof by the others.
Result<std::vector<TreeHead>> sound_heads(const ProofFiles& files) {
  std::vector<std::string> faults;
  CheckedHeads checked = checked_heads(files, faults);
  if (faults.empty() && checked.signed_ones.empty()) {
    faults = std::move(checked.not_ours);
  }
  if (!faults.empty()) {
    return Error(ErrorCode::kCorrupt, faults.front());
  }
  if (checked.signed_ones.empty()) {
    return Error(ErrorCode::kConflict, "no tree head was signed yet", files.all_heads());
  }
  return std::move(checked.signed_ones);
}

// The newest head of `size` records; 0: the newest of all.
const TreeHead* head_of(const std::vector<TreeHead>& heads, std::uint64_t size) {
  const TreeHead* found = nullptr;
  for (const TreeHead& head : heads) {
    if (size == 0 ? found == nullptr || head.size >= found->size : head.size == size) {
      found = &head;
    }
  }
  return found;
}

struct Judged {
  journal::Verification report;
  std::size_t heads = 0;
};

Result<Judged> judge(const Store& store, const ProofFiles& files) {
  // Before the records, so that a running engine cannot sign one that was not read.
  std::vector<std::string> faults;
  const CheckedHeads heads = checked_heads(files, faults);
  auto report = journal::verify(store, heads.signed_ones);
  if (!report) {
    return std::move(report).error();
  }
  report->faults.insert(report->faults.end(), faults.begin(), faults.end());
  for (const auto* lines : {&heads.not_ours, &heads.no_heads}) {
    report->faults.insert(report->faults.end(), lines->begin(), lines->end());
  }
  auto differences = store.check_fold(base::limits::kIssuesMax);
  if (!differences) {
    report->faults.push_back("states: " + differences.error().text());
  } else {
    report->faults.insert(report->faults.end(), differences->begin(), differences->end());
  }
  if (heads.all == 0) {
    report->remarks.push_back(
        "no signed tree heads: nothing tells whether anybody with the key ever had these records; "
        "an engine signs when it starts, once a minute and when it ends, so that its file of heads "
        "was taken away or is not the one that was given");
  }
  if (!report->unproved.empty() && report->heads_agree > 0) {
    report->remarks.push_back(report->unproved);
  }
  return Judged{std::move(*report), heads.all};
}

std::string json_of(const std::vector<std::string>& texts) {
  std::string out = "[";
  for (const std::string& text : texts) {
    out += (out.size() > 1 ? "," : "") + json_text(text);
  }
  return out + "]";
}

// What an export proves its records with.
struct ExportProof {
  std::vector<TreeHead> heads;
  std::vector<Digest> leaves;
  std::string why_not;  // no head could be signed for it over all leaves
};

bool agree(const std::vector<TreeHead>& heads, const std::vector<Digest>& leaves) {
  std::multimap<std::uint64_t, Digest> roots;
  for (const TreeHead& head : heads) {
    roots.emplace(head.size, head.root);
  }
  journal::Frontier tree;
  for (const Digest& leaf : leaves) {
    tree.append(leaf);
    const auto [first, last] = roots.equal_range(tree.size());
    if (std::any_of(first, last, [&](const auto& one) { return one.second != tree.root(); })) {
      return false;
    }
  }
  return roots.empty() || roots.rbegin()->first <= tree.size();
}

// The export's own: the journal's file of heads is the engine's, which may be writing it.
Result<TreeHead> sign_for_export(const ProofFiles& files, const ExportProof& proof) {
  const auto secret = journal::load_secret(files.journal + ".head-key", "");
  const auto key = public_key(files);
  if (!secret || !key) {
    return secret ? key.error() : secret.error();
  }
  const journal::HeadSigner signer(*secret);
  if (signer.key() != key->name()) {
    return Error(ErrorCode::kConflict, "the key of this journal is another one than the one given");
  }
  if (!agree(proof.heads, proof.leaves)) {
    return Error(ErrorCode::kCorrupt, "the journal contradicts its signed heads");
  }
  journal::Frontier tree;
  for (const Digest& leaf : proof.leaves) {
    tree.append(leaf);
  }
  return signer.sign(tree.size(), tree.root(), base::to_instant(SystemClock().now()));
}

// Covers every leaf: with a head signed now, or by leaving out what is newer than the last one.
ExportProof export_proof(const ProofFiles& files, std::vector<TreeHead> heads,
                         std::vector<Digest> leaves) {
  ExportProof proof{std::move(heads), std::move(leaves), {}};
  const std::uint64_t covered = head_of(proof.heads, 0)->size;
  if (covered >= proof.leaves.size()) {
    return proof;
  }
  auto head = sign_for_export(files, proof);
  if (head) {
    proof.heads.push_back(std::move(*head));
  } else {
    proof.leaves.resize(covered);
    proof.why_not = head.error().text();
  }
  return proof;
}

}  // namespace

std::string ProofFiles::all_heads() const {
  return heads.empty() ? journal + ".heads" : heads.front();
}

std::string ProofFiles::key_file() const {
  return public_key.empty() ? journal + ".head-key.pub" : public_key;
}

int verify_journal(const Store& store, const ProofFiles& files) {
  if (auto there = check_files(files); !there) {
    return fail(there.error());
  }
  const auto judged = judge(store, files);
  if (!judged && judged.error().code == ErrorCode::kIo) {
    return fail(judged.error());  // a database that went away is no journal that was altered
  }
  if (!judged) {
    std::printf("unreadable: %s\n", shown_text(judged.error().text()).c_str());
    return kNo;
  }
  const journal::Verification* report = &judged->report;
  for (const std::string& remark : report->remarks) {
    std::printf("remark: %s\n", shown_text(remark).c_str());
  }
  for (const std::string& fault : report->faults) {
    std::printf("fault: %s\n", shown_text(fault).c_str());
  }
  if (report->destroyed > 0 || report->unopened > 0) {
    std::printf(
        "%llu parts were destroyed as records of the journal say, %llu are sealed and were "
        "not opened\n",
        static_cast<unsigned long long>(report->destroyed),
        static_cast<unsigned long long>(report->unopened));
  }
  if (report->heads_agree > 0 && report->covered < report->records) {
    std::printf("the newest %llu of %llu records are under no signed head\n",
                static_cast<unsigned long long>(report->records - report->covered),
                static_cast<unsigned long long>(report->records));
  }
  std::printf("%s: %llu records, %llu parts, %llu bytes, %zu of %zu tree heads agree, root %s\n",
              !report->sound()   ? "NOT SOUND"
              : report->proved() ? "sound"
                                 : "NOT PROVED",
              static_cast<unsigned long long>(report->records),
              static_cast<unsigned long long>(report->parts),
              static_cast<unsigned long long>(report->stored_bytes), report->heads_agree,
              judged->heads, base::to_hex(report->root).c_str());
  return !report->sound() ? kNo : report->proved() ? kOk : kUsage;
}

Result<std::string> soundness_report(const Store& store, const ProofFiles& files) {
  const auto judged = judge(store, files);
  if (!judged) {
    return judged.error();
  }
  const journal::Verification& report = judged->report;
  const auto number = [](const char* name, std::uint64_t value) {
    return std::string(",\"") + name + "\":" + std::to_string(value);
  };
  const auto truth = [](bool value) { return value ? "true" : "false"; };
  return std::string("{\"sound\":") + truth(report.sound()) +
         ",\"proved\":" + truth(report.proved()) + number("covered", report.covered) +
         number("records", report.records) + number("parts", report.parts) +
         number("bytes", report.stored_bytes) + number("destroyed", report.destroyed) +
         number("unopened", report.unopened) + number("heads", judged->heads) +
         number("headsAgree", report.heads_agree) +
         ",\"root\":" + json_text(base::to_hex(report.root)) +
         ",\"faults\":" + json_of(report.faults) + ",\"remarks\":" + json_of(report.remarks) + "}";
}

Result<std::string> record_proof(const Store& store, const ProofFiles& files,
                                 std::uint64_t position) {
  const auto heads = sound_heads(files);
  if (!heads) {
    return heads.error();
  }
  const TreeHead* head = head_of(*heads, 0);
  const auto text = store.head_text(position);
  if (!text) {
    return text.error();
  }
  if (position > head->size) {
    return Error(ErrorCode::kConflict, "the record is newer than the latest signed tree head, of " +
                                           std::to_string(head->size) + " records; wait a minute");
  }
  auto leaves = leaves_of(store);
  if (!leaves) {
    return leaves.error();
  }
  if (leaves->size() < head->size) {
    return Error(ErrorCode::kCorrupt, "records are missing that were signed at " + head->time);
  }
  leaves->resize(head->size);
  const auto path = journal::inclusion_proof(position - 1, *leaves);
  const Digest leaf = journal::leaf_hash(*text);
  if (!journal::verify_inclusion(leaf, position - 1, head->size, path, head->root)) {
    return Error(ErrorCode::kCorrupt,
                 "the record does not lie in the tree that was signed at " + head->time);
  }
  return "{\"position\":" + std::to_string(position) + ",\"record\":" + json_text(*text) +
         ",\"leaf\":" + json_text(base::to_hex(leaf)) + ",\"path\":" + json_of(path) +
         ",\"treeHead\":" + json_of(*head) + "}";
}

int prove_record(const Store& store, const ProofFiles& files, std::uint64_t position) {
  if (auto there = check_files(files); !there) {
    return fail(there.error());
  }
  const auto proof = record_proof(store, files, position);
  if (!proof) {
    const bool about_it =
        proof.error().code == ErrorCode::kConflict || proof.error().code == ErrorCode::kCorrupt;
    return about_it ? no(proof.error().text()) : fail(proof.error());
  }
  std::printf("%s\n", proof->c_str());
  return kOk;
}

int prove_growth(const Store& store, const ProofFiles& files, std::uint64_t from,
                 std::uint64_t to) {
  if (auto there = check_files(files); !there) {
    return fail(there.error());
  }
  const auto heads = sound_heads(files);
  if (!heads) {
    return no(heads.error().text());
  }
  const TreeHead* first = head_of(*heads, from);
  const TreeHead* last = head_of(*heads, to);
  if (from == 0 || first == nullptr || last == nullptr || first->size > last->size) {
    std::string sizes;
    for (const TreeHead& head : *heads) {
      sizes += " " + std::to_string(head.size);
    }
    return fail(Error(ErrorCode::kNotFound,
                      "no such pair of signed heads; there are heads of these many records:" +
                          sizes.substr(0, 400)));
  }
  auto leaves = leaves_of(store);
  if (!leaves) {
    return fail(leaves.error());
  }
  if (leaves->size() < last->size) {
    return no("records are missing that were signed at " + last->time);
  }
  leaves->resize(last->size);
  const auto path = journal::consistency_proof(first->size, *leaves);
  if (!journal::verify_consistency(first->size, first->root, last->size, last->root, path)) {
    return no("the tree signed at " + last->time + " does not begin with the one signed at " +
              first->time);
  }
  std::printf("{\"from\":%s,\"to\":%s,\"path\":%s}\n", json_of(*first).c_str(),
              json_of(*last).c_str(), json_of(path).c_str());
  return kOk;
}

int export_journal(const Store& store, const ProofFiles& files, journal::Query query,
                   journal::Position through, const std::string& folder) {
  std::error_code problem;
  if (std::filesystem::exists(folder, problem) && !std::filesystem::is_empty(folder, problem)) {
    return fail(Error(ErrorCode::kConflict, "the folder is there already and not empty", folder));
  }
  if (auto there = check_files(files); !there) {
    return fail(there.error());
  }
  auto heads = sound_heads(files);
  if (!heads) {
    return no(heads.error().text());
  }
  const auto pem = public_pem(files);
  auto leaves = leaves_of(store);
  if (!pem || !leaves) {
    return fail(!pem ? pem.error() : leaves.error());
  }
  const std::size_t all = leaves->size();
  const ExportProof proof = export_proof(files, std::move(*heads), std::move(*leaves));
  std::string head_lines;
  for (const TreeHead& head : proof.heads) {
    head_lines += journal::print_tree_head(head);
  }
  std::string leaf_lines;
  for (const Digest& leaf : proof.leaves) {
    leaf_lines += base::to_hex(leaf) + "\n";
  }
  through = std::min<journal::Position>(through, proof.leaves.size());
  const auto count = write_records(store, std::move(query), {through, proof.leaves.size()}, folder);
  if (!count) {
    return fail(count.error());
  }
  const std::pair<const char*, const std::string*> texts[] = {
      {"/tree-heads", &head_lines}, {"/head-key.pub", &*pem}, {"/leaves", &leaf_lines}};
  for (const auto& [name, text] : texts) {
    if (auto written = write_private_file(folder + name, *text); !written) {
      return fail(written.error());
    }
  }
  if (!proof.why_not.empty()) {
    std::fprintf(
        stderr,
        "chartferry journal: no head could be signed for this export (%s): the %zu records "
        "since the last one are left out\n",
        proof.why_not.c_str(), all - proof.leaves.size());
  }
  std::printf("%zu records of %zu, %zu tree heads, in %s\n", *count, proof.leaves.size(),
              proof.heads.size(), folder.c_str());
  return kOk;
}

}  // namespace engine::cli

#pragma once
// A store of each kind that seals, for tests of what is sealed, destroyed and kept.

#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "engine/journal/seal.h"
#include "tests/journal/store_conformance.h"

namespace engine::journal {

// Bytes that no two calls share, the same in every run.
class CountedRandom final : public base::Random {
 public:
  void fill(std::span<std::uint8_t> bytes) override {
    const base::Digest digest = base::sha256("random " + std::to_string(++calls_));
    ASSERT_LE(bytes.size(), digest.size());
    std::copy_n(digest.begin(), bytes.size(), bytes.begin());
  }

 private:
  int calls_ = 0;
};

// Master keys by a letter each.
inline std::shared_ptr<const Sealing> sealing_of(std::string_view letters) {
  static CountedRandom random;
  std::vector<std::string> secrets;
  for (const char letter : letters) {
    secrets.emplace_back(32, letter);
  }
  auto sealing = std::make_shared<Sealing>();
  sealing->masters = MasterKeys(std::move(secrets));
  sealing->random = &random;
  return sealing;
}

class SealedStore : public StoreConformance {
 protected:
  void SetUp() override {
    StoreConformance::SetUp();
    if (!IsSkipped()) {
      open_with("m");
    }
  }
  base::Result<std::unique_ptr<Store>> try_open(std::string_view masters,
                                                OpenMode mode = OpenMode::kEngine) {
    store_.reset();
    return house_->open(mode, masters.empty() ? nullptr : sealing_of(masters));
  }
  void open_with(std::string_view masters, OpenMode mode = OpenMode::kEngine) {
    auto opened = try_open(masters, mode);
    ASSERT_TRUE(opened.has_value()) << opened.error().text();
    store_ = std::move(*opened);
  }
  // An accepted revision of a session with a document; its patient is "p-" and the first letter.
  Position accept(const std::string& session, const std::string& body, std::uint32_t revision = 1) {
    Change change(record_of(Kind::kAccepted, session, revision));
    change.parts.push_back(to_stored(Part("document", body)));
    return write(std::move(change)).record.position;
  }
  // The way to the target, with a bundle.
  void land(const std::string& session, std::uint32_t revision = 1) {
    Record checked = record_of(Kind::kChecked, session, revision);
    checked.patient = "p-" + session.substr(0, 1);
    Change change(checked);
    change.parts.push_back(to_stored(Part("bundle", "bundle of " + session)));
    write(std::move(change));
    write(Kind::kDispatched, session, revision);
    write(Kind::kLanded, session, revision);
  }
  // Every part as it lies in the store.
  std::vector<PartRow> stored() {
    std::vector<PartRow> rows;
    EXPECT_TRUE(store_
                    ->scan_parts(1,
                                 [&](const PartRow& row) {
                                   rows.push_back(row);
                                   return true;
                                 })
                    .has_value());
    return rows;
  }
  std::string error_of(Position position, std::string_view name = "document") {
    const auto part = store_->part(position, name);
    return part ? "readable" : part.error().detail;
  }
};

}  // namespace engine::journal

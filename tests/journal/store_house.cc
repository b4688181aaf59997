#include "tests/journal/store_house.h"

#include <cstdlib>
#include <utility>

#include <unistd.h>

#include "engine/journal/postgres.h"
#include "engine/journal/postgres_store.h"
#include "tests/journal/fixture.h"

namespace engine::journal {
namespace {

class SqliteHouse final : public StoreHouse {
 public:
  using StoreHouse::open;
  base::Result<std::unique_ptr<Store>> open(OpenMode mode,
                                            std::shared_ptr<const Sealing> sealing) override {
    return open_sqlite_store({folder_.file("journal"), mode, std::move(sealing)});
  }
  std::string location() const override { return folder_.file("journal"); }

 private:
  TemporaryFolder folder_;
};

// A schema of its own in the cluster that postgres_cluster.py runs.
class PostgresHouse final : public StoreHouse {
 public:
  PostgresHouse() {
    static int made = 0;
    const char* const server = std::getenv("CHARTFERRY_TEST_POSTGRES");
    if (server != nullptr) {
      server_ = server;
      name_ = "t" + std::to_string(::getpid()) + "_" + std::to_string(++made);
      address_ = server_ + "&options=-csearch_path%3D" + name_;
      run("CREATE SCHEMA " + name_);
    }
  }
  ~PostgresHouse() override {
    if (!server_.empty()) {
      run("DROP SCHEMA " + name_ + " CASCADE");
    }
  }
  PostgresHouse(const PostgresHouse&) = delete;
  PostgresHouse& operator=(const PostgresHouse&) = delete;

  std::string missing() const override {
    return server_.empty() ? "tests/journal/postgres_cluster.py runs this with a database" : "";
  }
  using StoreHouse::open;
  base::Result<std::unique_ptr<Store>> open(OpenMode mode,
                                            std::shared_ptr<const Sealing> sealing) override {
    return open_postgres_store({address_, mode, "engine", std::move(sealing)});
  }
  std::string location() const override { return address_; }

 private:
  void run(const std::string& sql) {
    auto connection = postgres::Connection::open(server_, false);
    ASSERT_TRUE(connection.has_value()) << connection.error().text();
    const auto done = (*connection)->script(sql.c_str());
    ASSERT_TRUE(done.has_value()) << done.error().text();
  }
  std::string server_;
  std::string name_;
  std::string address_;
};

template <class House>
std::unique_ptr<StoreHouse> make() {
  return std::make_unique<House>();
}

}  // namespace

std::vector<HouseKind> all_houses() {
  return {{"Sqlite", make<SqliteHouse>}, {"Postgres", make<PostgresHouse>}};
}

}  // namespace engine::journal

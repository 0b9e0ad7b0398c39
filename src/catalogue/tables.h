// SPDX-License-Identifier: Apache-2.0
// Inside the catalogue module only: the open database, and what its rows mean.
#pragma once

#include "catalogue/catalogue.h"
#include "catalogue/full_text.h"
#include "catalogue/schema.h"

#include <soci/soci.h>

#include <cstdint>
#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <string>

namespace windwright::catalogue {

/// Whole or not at all. In a SQLite file it is the only one that writes from its beginning on: one
/// that read first would be refused where another has begun to write.
class Whole {
 public:
  Whole(soci::session& session, Dialect dialect) : session_(session) {
    session_ << (dialect == Dialect::sqlite ? "BEGIN IMMEDIATE" : "BEGIN");
  }
  Whole(const Whole&) = delete;
  Whole& operator=(const Whole&) = delete;
  ~Whole();
  void commit() {
    session_ << "COMMIT";
    committed_ = true;
  }

 private:
  soci::session& session_;
  bool committed_ = false;
};

struct Catalogue::Tables {
  /// @throws BadInput
  Tables(const std::string& location, bool may_create);

  std::string location;
  Dialect dialect;
  std::filesystem::path folder;  // of a catalogue file; else empty
  soci::session session;
  std::unique_ptr<FullText> words;

  /// How a place is kept.
  struct Place {
    std::string host;
    std::string path;
  };
  Place place_of(const std::filesystem::path& absolute) const;
  std::filesystem::path path_of(const std::string& host, const std::string& path) const;
  bool is_here(const std::string& host) const;

  int schema();  // 0 where there are no tables yet
  void migrate();
  std::optional<std::int64_t> id_of(const Place& place);
  std::int64_t person(const std::string& name);
  /// The words of an entry and of its notes.
  void index(std::int64_t id);
  /// Of each of these entries the notes, then what it says itself, a line a thing: notes are what
  /// people wrote about it.
  std::map<std::int64_t, std::string> texts_of(const std::vector<std::int64_t>& ids);

  /// Does work whose failures are the database's. @throws DiskFault
  template <typename Work>
  auto in_words(Work work) {
    try {
      return work();
    } catch (const soci::soci_error& error) {
      fail(error.what());
    }
  }
  [[noreturn]] void fail(const std::string& why) const;
};

}  // namespace windwright::catalogue

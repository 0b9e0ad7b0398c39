// SPDX-License-Identifier: Apache-2.0
#include "catalogue/schema.h"

#include <fmt/format.h>

#include <string>
#include <vector>

namespace windwright::catalogue {

namespace {

std::vector<std::string> tables(const char* identity) {
  return {
      fmt::format("CREATE TABLE entries (id {}, kind VARCHAR(16) NOT NULL, "
                  "host VARCHAR(255) NOT NULL, path TEXT NOT NULL, "
                  "title TEXT NOT NULL, bench TEXT NOT NULL, "
                  "operator_name VARCHAR(255) NOT NULL, question TEXT NOT NULL, "
                  "answer TEXT NOT NULL, software_version VARCHAR(64) NOT NULL, "
                  "start_utc VARCHAR(40) NOT NULL, samples BIGINT NOT NULL, "
                  "sample_rate_hz DOUBLE PRECISION NOT NULL, gaps BIGINT NOT NULL, "
                  "points INTEGER NOT NULL, complete INTEGER NOT NULL, full_text TEXT NOT NULL, "
                  "UNIQUE (host, path))",
                  identity),
      "CREATE TABLE files (entry_id BIGINT NOT NULL REFERENCES entries (id), "
      "name TEXT NOT NULL, bytes BIGINT NOT NULL, sha256 VARCHAR(64) NOT NULL)",
      "CREATE TABLE points (entry_id BIGINT NOT NULL REFERENCES entries (id), "
      "number INTEGER NOT NULL, settings TEXT NOT NULL, start_utc VARCHAR(40) NOT NULL, "
      "settled INTEGER NOT NULL, first_sample BIGINT NOT NULL, samples BIGINT NOT NULL)",
      "CREATE TABLE certificates (entry_id BIGINT NOT NULL REFERENCES entries (id), "
      "channel VARCHAR(255) NOT NULL, model VARCHAR(64) NOT NULL, date_utc VARCHAR(40) NOT NULL, "
      "valid_until_utc VARCHAR(40) NOT NULL, standard TEXT NOT NULL, "
      "sha256 VARCHAR(64) NOT NULL)",
      fmt::format("CREATE TABLE people (id {}, name VARCHAR(255) NOT NULL UNIQUE)", identity),
      "CREATE TABLE took_part (entry_id BIGINT NOT NULL REFERENCES entries (id), "
      "person_id BIGINT NOT NULL REFERENCES people (id), role VARCHAR(64) NOT NULL)",
      fmt::format("CREATE TABLE notes (id {}, entry_id BIGINT NOT NULL REFERENCES entries (id), "
                  "time_utc VARCHAR(40) NOT NULL, person_id BIGINT REFERENCES people (id), "
                  "note TEXT NOT NULL)",
                  identity),
      "CREATE INDEX files_of_entry ON files (entry_id)",
      "CREATE INDEX points_of_entry ON points (entry_id)",
      "CREATE INDEX certificates_of_entry ON certificates (entry_id)",
      "CREATE INDEX notes_of_entry ON notes (entry_id)"};
}

}  // namespace

std::vector<std::string> migration(int number, Dialect dialect) {
  const bool sqlite = dialect == Dialect::sqlite;
  if (number == 1) return tables(sqlite ? "INTEGER PRIMARY KEY" : "BIGSERIAL PRIMARY KEY");
  // Words as words_of makes them: neither database has anything to fold or to stem. Entries of the
  // first schema are indexed by Tables::migrate.
  if (sqlite) {
    return {
        "CREATE VIRTUAL TABLE words USING fts5 (body, tokenize = 'unicode61 "
        "remove_diacritics 0')"};
  }
  return {
      "CREATE TABLE words (entry_id BIGINT PRIMARY KEY REFERENCES entries (id), "
      "words TSVECTOR NOT NULL)",
      "CREATE INDEX words_index ON words USING GIN (words)"};
}

}  // namespace windwright::catalogue

// SPDX-License-Identifier: Apache-2.0
#include "catalogue/tables.h"

#include "base/errors.h"
#include "base/host_name.h"
#include "catalogue/schema.h"
#include "catalogue/words.h"

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <soci/postgresql/soci-postgresql.h>
#include <soci/soci.h>
#include <soci/sqlite3/soci-sqlite3.h>

#include <cstdint>
#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::catalogue {

namespace {

namespace fs = std::filesystem;
using soci::into;
using soci::use;

constexpr int first_with_words = 2;
constexpr int migrating = 20'260'302;  // number of the lock, ours in a database

bool is_server(const std::string& location) {
  return location.starts_with("postgresql://") || location.starts_with("postgres://");
}

// Whoever enters a measurement does not wait for a server for ever, unless the location says so:
// 10 s to connect, 20 s for a network that has gone, a minute for a question.
std::string within_time(const std::string& location) {
  std::string complete = location;
  for (const auto& [name, value] :
       {std::pair{"connect_timeout", "10"}, std::pair{"tcp_user_timeout", "20000"},
        std::pair{"options", "-c%20statement_timeout%3D60000"}}) {
    if (location.find(fmt::format("{}=", name)) != std::string::npos) continue;
    complete +=
        fmt::format("{}{}={}", complete.find('?') == std::string::npos ? '?' : '&', name, value);
  }
  return complete;
}

}  // namespace

Catalogue::Tables::Tables(const std::string& where, bool may_create)
    : location(where), dialect(is_server(where) ? Dialect::postgresql : Dialect::sqlite) {
  if (dialect == Dialect::sqlite) {
    if (!fs::is_regular_file(location) && (!may_create || fs::exists(location))) {
      throw base::BadInput(location, "is no catalogue",
                           "a catalogue's file, which `windwright catalogue add` makes, or "
                           "postgresql://USER@HOST/DATABASE");
    }
    const fs::path file = fs::weakly_canonical(fs::absolute(location));
    folder = file.parent_path();
  }
  try {
    if (dialect == Dialect::sqlite) {
      session.open(soci::sqlite3, fmt::format("db=\"{}\" timeout=10", location));
    } else {
      session.open(soci::postgresql, within_time(location));
      session << "SET client_min_messages = warning";
    }
    words = full_text(dialect);
    migrate();
  } catch (const soci::soci_error& error) {
    throw base::BadInput(location,
                         fmt::format("cannot be opened as a catalogue ({})", error.what()),
                         "a catalogue's file, or postgresql://USER@HOST/DATABASE of a server that "
                         "runs");
  }
}

void Catalogue::Tables::fail(const std::string& why) const {
  throw base::DiskFault(location, fmt::format("the catalogue cannot be used ({})", why),
                        "check the disk or the server");
}

Whole::~Whole() {
  if (committed_) return;
  try {
    session_ << "ROLLBACK";
  } catch (const soci::soci_error&) {
    // The connection is gone, and with it what was begun.
  }
}

int Catalogue::Tables::schema() {
  int there = 0;
  session << (dialect == Dialect::sqlite
                  ? "SELECT COUNT(*) FROM sqlite_master WHERE name = 'catalogue_schema'"
                  : "SELECT COUNT(*) FROM pg_tables WHERE tablename = 'catalogue_schema' AND "
                    "schemaname = ANY (current_schemas(false))"),
      into(there);
  if (there == 0) return 0;
  int now = 0;
  session << "SELECT COALESCE(MAX(number), 0) FROM catalogue_schema", into(now);
  return now;
}

void Catalogue::Tables::migrate() {
  if (schema() == newest_schema) return;
  Whole whole(session, dialect);
  if (dialect == Dialect::postgresql) {
    // Two servers that start together: the second waits here and finds nothing to do.
    session << fmt::format("SELECT pg_advisory_xact_lock({})", migrating);
  }
  const int now = schema();
  if (now > newest_schema) {
    throw base::BadInput(
        location, fmt::format("is a catalogue of schema {}, made by a newer windwright", now),
        fmt::format("a windwright that knows it; this one knows {}", newest_schema));
  }
  if (now == 0) session << "CREATE TABLE IF NOT EXISTS catalogue_schema (number INTEGER NOT NULL)";
  for (int number = now + 1; number <= newest_schema; ++number) {
    for (const std::string& statement : migration(number, dialect))
      session << statement;
    session << "INSERT INTO catalogue_schema (number) VALUES (:number)", use(number);
  }
  if (now > 0 && now < first_with_words) {
    std::vector<long long> entries;
    long long id = 0;
    soci::statement rows = (session.prepare << "SELECT id FROM entries", into(id));
    rows.execute();
    while (rows.fetch())
      entries.push_back(id);
    for (const long long entry : entries)
      index(entry);
  }
  whole.commit();
}

Catalogue::Tables::Place Catalogue::Tables::place_of(const fs::path& absolute) const {
  if (!folder.empty()) {
    const fs::path inside = absolute.lexically_relative(folder);
    if (!inside.empty() && *inside.begin() != "..") return {.host = {}, .path = inside.string()};
  }
  return {.host = base::host_name(), .path = absolute.string()};
}

fs::path Catalogue::Tables::path_of(const std::string& host, const std::string& path) const {
  return host.empty() ? folder / path : fs::path(path);
}

bool Catalogue::Tables::is_here(const std::string& host) const {
  return host.empty() || host == base::host_name();
}

std::optional<std::int64_t> Catalogue::Tables::id_of(const Place& place) {
  long long id = 0;
  session << "SELECT id FROM entries WHERE host = :host AND path = :path", into(id),
      use(place.host), use(place.path);
  return session.got_data() ? std::optional<std::int64_t>(id) : std::nullopt;
}

std::int64_t Catalogue::Tables::person(const std::string& name) {
  long long id = 0;
  session << "INSERT INTO people (name) VALUES (:name) ON CONFLICT (name) DO NOTHING", use(name);
  session << "SELECT id FROM people WHERE name = :name", into(id), use(name);
  return id;
}

void Catalogue::Tables::index(std::int64_t id) {
  const auto number = static_cast<long long>(id);
  std::string text;
  session << "SELECT full_text FROM entries WHERE id = :id", into(text), use(number);
  std::string note;
  std::string author;
  soci::indicator known = soci::i_ok;
  soci::statement notes = (session.prepare << "SELECT note, name FROM notes LEFT JOIN people ON "
                                              "people.id = person_id WHERE entry_id = :id",
                           use(number), into(note), into(author, known));
  notes.execute();
  while (notes.fetch())
    text += '\n' + note + '\n' + (known == soci::i_ok ? author : std::string());
  words->put(session, id, words_of(text));
}

std::map<std::int64_t, std::string> Catalogue::Tables::texts_of(
    const std::vector<std::int64_t>& ids) {
  std::map<std::int64_t, std::string> texts;
  const auto add = [&](const char* statement) {
    long long id = 0;
    std::string text;
    soci::statement rows =
        (session.prepare << fmt::format(fmt::runtime(statement), fmt::join(ids, ", ")), into(id),
         into(text));
    rows.execute();
    while (rows.fetch())
      texts[id] += text + '\n';
  };
  in_words([&] {
    add("SELECT entry_id, note FROM notes WHERE entry_id IN ({}) ORDER BY id");
    add("SELECT id, full_text FROM entries WHERE id IN ({})");
  });
  return texts;
}

}  // namespace windwright::catalogue

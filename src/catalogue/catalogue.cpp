// SPDX-License-Identifier: Apache-2.0
#include "catalogue/catalogue.h"

#include "base/clock.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/text.h"
#include "catalogue/entry.h"
#include "catalogue/tables.h"
#include "catalogue/words.h"

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <soci/soci.h>

#include <algorithm>
#include <cstdint>
#include <filesystem>
#include <iterator>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::catalogue {

namespace {

namespace fs = std::filesystem;
using soci::into;
using soci::use;

base::UtcTime time_from(const std::string& text) {
  return base::utc_from_text(text, "catalogue");
}

// The rows of other tables that belong to an entry, notes left alone.
void put_parts(soci::session& session, long long id, const Entry& entry) {
  for (const char* table : {"files", "points", "certificates", "took_part"})
    session << fmt::format("DELETE FROM {} WHERE entry_id = :id", table), use(id);
  for (const FileNote& file : entry.files) {
    const long long bytes = file.bytes;
    session << "INSERT INTO files VALUES (:id, :name, :bytes, :sha256)", use(id), use(file.name),
        use(bytes), use(file.sha256);
  }
  for (const PointNote& point : entry.points) {
    const std::string start = base::utc_text(point.start);
    const int settled = point.settled ? 1 : 0;
    const long long first = point.first_sample;
    const long long samples = point.samples;
    session << "INSERT INTO points VALUES (:id, :number, :settings, :start, :settled, :first, "
               ":samples)",
        use(id), use(point.number), use(point.settings), use(start), use(settled), use(first),
        use(samples);
  }
  for (const CertificateNote& certificate : entry.certificates) {
    const std::string date = base::utc_text(certificate.date);
    const std::string until = base::utc_text(certificate.valid_until);
    session << "INSERT INTO certificates VALUES (:id, :channel, :model, :date, :until, :standard, "
               ":sha256)",
        use(id), use(certificate.channel), use(certificate.model), use(date), use(until),
        use(certificate.standard), use(certificate.sha256);
  }
}

// All columns of entries but the number, in the order of the table.
struct EntryRow {
  std::string kind;
  std::string host;
  std::string path;
  std::string start;
  long long samples;
  long long gaps;
  int points;
  int complete;

  EntryRow(const Entry& entry, std::string where_host, std::string where_path)
      : kind(entry.kind == Entry::Kind::run ? "run" : "recording"),
        host(std::move(where_host)),
        path(std::move(where_path)),
        start(base::utc_text(entry.start)),
        samples(entry.samples),
        gaps(entry.gaps),
        points(static_cast<int>(entry.points.size())),
        complete(entry.complete ? 1 : 0) {}
};

// One that others enter at the same time is there once.
constexpr const char* put_entry =
    "INSERT INTO entries (kind, host, path, title, bench, operator_name, question, answer, "
    "software_version, start_utc, samples, sample_rate_hz, gaps, points, complete, full_text) "
    "VALUES (:kind, :host, :path, :title, :bench, :operator_name, :question, :answer, :version, "
    ":start, :samples, :rate, :gaps, :points, :complete, :text) "
    "ON CONFLICT (host, path) DO UPDATE SET kind = excluded.kind, title = excluded.title, "
    "bench = excluded.bench, operator_name = excluded.operator_name, "
    "question = excluded.question, answer = excluded.answer, "
    "software_version = excluded.software_version, start_utc = excluded.start_utc, "
    "samples = excluded.samples, sample_rate_hz = excluded.sample_rate_hz, "
    "gaps = excluded.gaps, points = excluded.points, complete = excluded.complete, "
    "full_text = excluded.full_text";

// Newest first. A template since the tables are private to the catalogue.
// @param condition  behind WHERE
// @param end        behind all of it
template <typename Tables>
std::vector<Listed> listed_where(Tables& tables, const std::string& condition,
                                 const std::string& end = {}) {
  return tables.in_words([&] {
    std::vector<Listed> all;
    long long id = 0;
    std::string kind;
    std::string host;
    std::string path;
    std::string title;
    std::string bench;
    std::string person;
    std::string answer;
    std::string start;
    long long samples = 0;
    int points = 0;
    int complete = 0;
    soci::statement rows =
        (tables.session.prepare << fmt::format(
             "SELECT id, kind, host, path, title, bench, operator_name, answer, "
             "start_utc, samples, points, complete FROM entries WHERE {} "
             "ORDER BY start_utc DESC, id DESC {}",
             condition, end),
         into(id), into(kind), into(host), into(path), into(title), into(bench), into(person),
         into(answer), into(start), into(samples), into(points), into(complete));
    rows.execute();
    while (rows.fetch()) {
      all.push_back({.id = id,
                     .kind = kind == "run" ? Entry::Kind::run : Entry::Kind::recording,
                     .path = tables.path_of(host, path),
                     .host = host,
                     .title = title,
                     .bench = bench,
                     .operator_name = person,
                     .answer = answer,
                     .start = time_from(start),
                     .samples = samples,
                     .points = points,
                     .complete = complete != 0});
    }
    return all;
  });
}

}  // namespace

Catalogue::Catalogue(std::unique_ptr<Tables> tables) : tables_(std::move(tables)) {}
Catalogue::Catalogue(Catalogue&& other) noexcept = default;
Catalogue::~Catalogue() = default;

Catalogue Catalogue::open(const std::string& location, bool may_create) {
  return Catalogue(std::make_unique<Tables>(location, may_create));
}

std::int64_t Catalogue::add(const Entry& entry) {
  return tables_->in_words([&] {
    soci::session& session = tables_->session;
    Whole whole(session, tables_->dialect);
    const Tables::Place place = tables_->place_of(entry.path);
    const EntryRow row(entry, place.host, place.path);
    session << put_entry, use(row.kind), use(row.host), use(row.path), use(entry.title),
        use(entry.bench), use(entry.operator_name), use(entry.question), use(entry.answer),
        use(entry.software_version), use(row.start), use(row.samples), use(entry.sample_rate_hz),
        use(row.gaps), use(row.points), use(row.complete), use(entry.text);
    const std::int64_t id = tables_->id_of(place).value();
    put_parts(session, id, entry);
    if (!entry.operator_name.empty()) {
      const long long person = tables_->person(entry.operator_name);
      const long long number = id;
      session << "INSERT INTO took_part VALUES (:id, :person, 'operator')", use(number),
          use(person);
    }
    tables_->index(id);
    whole.commit();
    return id;
  });
}

std::vector<Listed> Catalogue::list() {
  return listed_where(*tables_, "1 = 1");
}

std::optional<Listed> Catalogue::at(const fs::path& path) {
  const auto id = tables_->in_words([&] { return tables_->id_of(tables_->place_of(path)); });
  if (!id) return std::nullopt;
  return listed_where(*tables_, fmt::format("id = {}", *id)).front();
}

Found Catalogue::search(std::string_view text, std::int64_t most) {
  const std::vector<std::string> words = words_of(text);
  if (words.empty()) throw base::BadInput("search", "has no word", "letters or digits");
  const std::vector<std::int64_t> ids =
      tables_->in_words([&] { return tables_->words->find(tables_->session, words); });
  Found found{.hits = {}, .found = std::ssize(ids)};
  if (ids.empty()) return found;
  // Numbers, so there is nothing to quote. Only what will be shown is read whole.
  const auto listed = listed_where(*tables_, fmt::format("id IN ({})", fmt::join(ids, ", ")),
                                   fmt::format("LIMIT {}", most));
  std::vector<std::int64_t> shown;
  for (const Listed& entry : listed)
    shown.push_back(entry.id);
  std::map<std::int64_t, std::string> texts = tables_->texts_of(shown);
  for (const Listed& entry : listed)
    found.hits.push_back({.entry = entry, .line = line_with(texts[entry.id], words)});
  return found;
}

void Catalogue::note(const fs::path& path, const Note& note) {
  tables_->in_words([&] {
    const auto id = tables_->id_of(tables_->place_of(fs::weakly_canonical(fs::absolute(path))));
    if (!id) {
      throw base::BadInput(path.string(),
                           fmt::format("is not in the catalogue {}", tables_->location),
                           "a run or recording that was added");
    }
    Whole whole(tables_->session, tables_->dialect);
    const long long number = *id;
    const std::string time = base::utc_text(note.time);
    long long person = 0;
    soci::indicator known = soci::i_null;
    if (!note.author.empty()) {
      person = tables_->person(note.author);
      known = soci::i_ok;
    }
    tables_->session << "INSERT INTO notes (entry_id, time_utc, person_id, note) VALUES (:id, "
                        ":time, :person, :note)",
        use(number), use(time), use(person, known), use(note.text);
    tables_->index(*id);
    whole.commit();
  });
}

std::vector<Note> Catalogue::notes(std::int64_t id) {
  return tables_->in_words([&] {
    std::vector<Note> all;
    const long long number = id;
    std::string time;
    std::string author;
    std::string text;
    soci::indicator known = soci::i_ok;
    soci::statement rows =
        (tables_->session.prepare << "SELECT time_utc, name, note FROM notes LEFT JOIN people ON "
                                     "people.id = person_id WHERE entry_id = :id ORDER BY notes.id",
         use(number), into(time), into(author, known), into(text));
    rows.execute();
    while (rows.fetch())
      all.push_back({.time = time_from(time),
                     .author = known == soci::i_ok ? author : std::string(),
                     .text = text});
    return all;
  });
}

std::vector<PointNote> Catalogue::points(std::int64_t id) {
  return tables_->in_words([&] {
    std::vector<PointNote> all;
    const long long entry = id;
    int number = 0;
    std::string settings;
    std::string start;
    int settled = 0;
    long long first = 0;
    long long samples = 0;
    soci::statement rows =
        (tables_->session.prepare << "SELECT number, settings, start_utc, settled, first_sample, "
                                     "samples FROM points WHERE entry_id = :id ORDER BY number",
         use(entry), into(number), into(settings), into(start), into(settled), into(first),
         into(samples));
    rows.execute();
    while (rows.fetch())
      all.push_back({.number = number,
                     .settings = settings,
                     .start = time_from(start),
                     .settled = settled != 0,
                     .first_sample = first,
                     .samples = samples});
    return all;
  });
}

std::vector<CertificateNote> Catalogue::certificates(std::int64_t id) {
  return tables_->in_words([&] {
    std::vector<CertificateNote> all;
    const long long entry = id;
    CertificateNote each{};
    std::string date;
    std::string until;
    soci::statement rows =
        (tables_->session.prepare << "SELECT channel, model, date_utc, valid_until_utc, standard, "
                                     "sha256 FROM certificates WHERE entry_id = :id ORDER BY "
                                     "channel",
         use(entry), into(each.channel), into(each.model), into(date), into(until),
         into(each.standard), into(each.sha256));
    rows.execute();
    while (rows.fetch()) {
      each.date = time_from(date);
      each.valid_until = time_from(until);
      all.push_back(each);
    }
    return all;
  });
}

std::optional<std::string> catalogue_of_folder(const fs::path& folder) {
  const fs::path file = folder / "catalogue.sqlite";
  if (fs::is_regular_file(file)) return file.string();
  const fs::path link = folder / "catalogue.url";
  if (!fs::is_regular_file(link)) return std::nullopt;
  const std::string text = base::text_of_file(link);
  return std::string(base::trimmed(std::string_view(text).substr(0, text.find('\n'))));
}

}  // namespace windwright::catalogue

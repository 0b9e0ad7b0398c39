// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "catalogue/entry.h"

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::catalogue {

struct Note {
  base::UtcTime time;
  std::string author;  // empty where not told
  std::string text;
};

/// An entry as it stands in a catalogue.
struct Listed {
  std::int64_t id;
  Entry::Kind kind;
  std::filesystem::path path;
  std::string host;  // empty: a place relative to the catalogue, wherever that is
  std::string title;
  std::string bench;
  std::string operator_name;
  std::string answer;
  base::UtcTime start;
  std::int64_t samples;
  int points;
  bool complete;
};

struct Hit {
  Listed entry;
  std::string line;  // of what was found
};

struct Found {
  std::vector<Hit> hits;  // newest first, as many as were wanted
  std::int64_t found;     // entries that there are
};

/// Whether an entry's files are as they were when it was entered.
struct Disagreement {
  std::filesystem::path path;
  std::string what;
};
struct Agreement {
  int looked_at;  // entries
  int elsewhere;  // on another computer, not looked at
  std::vector<Disagreement> disagreements;
  std::vector<std::filesystem::path> not_entered;  // recordings beside or below a catalogue file
};

/// Runs, recordings, points, certificates, people and notes, with a full-text search, in a SQLite
/// file or a PostgreSQL database: the same tables and the same answers. Tables of an older schema
/// are brought up to date when it is opened. Several programs may use one at a time; one thread a
/// Catalogue.
///
/// In a file, places inside the file's folder are kept relative to it, so that the folder can be
/// moved; all others, and all in PostgreSQL, are absolute and of this computer.
class Catalogue {
 public:
  /// @param location    a file, or postgresql://USER@HOST/DATABASE
  /// @param may_create  a file that is not there yet
  /// @throws BadInput   not there, no catalogue, or of a newer windwright
  static Catalogue open(const std::string& location, bool may_create);
  Catalogue(Catalogue&& other) noexcept;
  ~Catalogue();

  /// Enters it, or brings it up to date; its notes stay. @return its number
  std::int64_t add(const Entry& entry);
  std::vector<Listed> list();  // newest first
  /// What this computer entered at a place. @param path  absolute
  std::optional<Listed> at(const std::filesystem::path& path);
  /// Entries with all these words, or words that begin with them; newest first.
  /// @param most       hits, 1 or more
  /// @throws BadInput  no word
  Found search(std::string_view words, std::int64_t most);
  /// @throws BadInput  not entered
  void note(const std::filesystem::path& path, const Note& note);
  std::vector<Note> notes(std::int64_t id);
  std::vector<PointNote> points(std::int64_t id);
  std::vector<CertificateNote> certificates(std::int64_t id);
  /// Compares lengths and hashes with the files, and looks for recordings that are not entered.
  Agreement check();

 private:
  struct Tables;
  explicit Catalogue(std::unique_ptr<Tables> tables);
  std::unique_ptr<Tables> tables_;
};

/// The catalogue of a folder, which conduct and record enter their results in without being told:
/// `catalogue.sqlite` in it, or what the one line of `catalogue.url` says.
std::optional<std::string> catalogue_of_folder(const std::filesystem::path& folder);

}  // namespace windwright::catalogue

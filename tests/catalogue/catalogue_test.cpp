// SPDX-License-Identifier: Apache-2.0
#include "catalogue/catalogue.h"

#include "base/errors.h"
#include "base/files.h"
#include "catalogue/entry.h"
#include "catalogue/schema.h"
#include "catalogue/words.h"
#include "fresh_folder.h"

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <soci/soci.h>
#include <soci/sqlite3/soci-sqlite3.h>

#include <chrono>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::catalogue {
namespace {

namespace fs = std::filesystem;

Entry made_up(const fs::path& path, const std::string& title, int day) {
  Entry entry{};
  entry.kind = Entry::Kind::recording;
  entry.path = path;
  entry.title = title;
  entry.bench = "Bench B";
  entry.start = base::UtcTime{std::chrono::hours(24 * day)};
  entry.samples = 10;
  entry.sample_rate_hz = 100.0;
  entry.text = title + "\nrotor_speed_rad_s: speed of the rotor\n";
  return entry;
}

TEST(Words, AreLettersAndDigitsInAnyCase) {
  EXPECT_EQ(words_of("Rotor_speed 0.25, two-bladed!"),
            (std::vector<std::string>{"rotor", "speed", "0", "25", "two", "bladed"}));
  EXPECT_TRUE(words_of(" -_. ").empty());
  EXPECT_EQ(line_with("first\nthe second line\nthird", {"sec"}), "the second line");
}

TEST(Catalogue, KeepsPlacesInItsFolderSoThatItCanBeMoved) {
  const fs::path folder = fresh_folder();
  fs::create_directories(folder / "here");
  {
    Catalogue catalogue = Catalogue::open((folder / "here/catalogue.sqlite").string(), true);
    catalogue.add(made_up(folder / "here/a.h5", "near", 1));
    catalogue.add(made_up("/elsewhere/b.h5", "far", 2));
  }
  fs::rename(folder / "here", folder / "there");
  Catalogue moved = Catalogue::open((folder / "there/catalogue.sqlite").string(), false);
  const auto listed = moved.list();
  ASSERT_EQ(listed.size(), 2U);
  EXPECT_EQ(listed[0].path, "/elsewhere/b.h5");
  EXPECT_FALSE(listed[0].host.empty());
  EXPECT_EQ(listed[1].path, folder / "there/a.h5");
  const auto near = moved.at(folder / "there/a.h5");
  ASSERT_TRUE(near);
  EXPECT_EQ(near->title, "near");
  EXPECT_FALSE(moved.at(folder / "here/a.h5"));
}

TEST(Catalogue, FindsByAllWordsAndTheirBeginnings) {
  const fs::path folder = fresh_folder();
  Catalogue catalogue = Catalogue::open((folder / "c.sqlite").string(), true);
  catalogue.add(made_up(folder / "a.h5", "Three blades in \"gusts\"", 1));
  catalogue.add(made_up(folder / "b.h5", "Two blades' wake; 100 % load", 2));
  const auto titles = [&](const char* words) {
    std::string all;
    for (const Hit& hit : catalogue.search(words, 100).hits)
      all += hit.entry.title.substr(0, 3) + hit.line.substr(0, 5) + '|';
    return all;
  };
  EXPECT_EQ(titles("blade"), "TwoTwo b|ThrThree|");
  EXPECT_EQ(titles("BLADES gust"), "ThrThree|");
  EXPECT_EQ(titles("blades gust wake"), "");
  EXPECT_EQ(titles("rotor_speed"), "Tworotor|Thrrotor|");
  EXPECT_EQ(titles("\"load\" OR NOT"), "");  // words, no language of their own
  EXPECT_EQ(titles("100%"), "TwoTwo b|");
  const Found newest = catalogue.search("rotor", 1);
  EXPECT_EQ(newest.found, 2);
  ASSERT_EQ(newest.hits.size(), 1U);
  EXPECT_EQ(newest.hits[0].entry.title.substr(0, 3), "Two");
  EXPECT_THROW(catalogue.search(" \"' ", 100), base::BadInput);
  EXPECT_THROW(catalogue.note(folder / "c.h5", {.time = {}, .author = {}, .text = "x"}),
               base::BadInput);
}

TEST(Catalogue, BringsAnOlderSchemaUpToDate) {
  const fs::path file = fresh_folder() / "c.sqlite";
  {
    soci::session old(soci::sqlite3, "db=\"" + file.string() + "\"");
    old << "CREATE TABLE catalogue_schema (number INTEGER NOT NULL)";
    for (const std::string& statement : migration(1, Dialect::sqlite))
      old << statement;
    old << "INSERT INTO catalogue_schema VALUES (1)";
    old << "INSERT INTO entries VALUES (7, 'recording', '', 'a.h5', 'An old one', 'b', '', '', '', "
           "'', '2026-03-02T09:00:00.000Z', 5, 100, 0, 0, 1, 'An old one with a squeak')";
  }
  Catalogue catalogue = Catalogue::open(file.string(), false);
  const auto hits = catalogue.search("squeak", 100).hits;
  ASSERT_EQ(hits.size(), 1U);
  EXPECT_EQ(hits[0].entry.id, 7);
  EXPECT_EQ(Catalogue::open(file.string(), false).list().size(), 1U);  // and not twice
}

TEST(Catalogue, RefusesWhatIsNoneOrOfANewerProgram) {
  const fs::path folder = fresh_folder();
  const auto refusal = [&](const fs::path& file, bool may_create) -> std::string {
    try {
      Catalogue::open(file.string(), may_create);
    } catch (const base::BadInput& bad) {
      return bad.what();
    }
    return "taken";
  };
  EXPECT_NE(refusal(folder / "gone.sqlite", false).find("is no catalogue"), std::string::npos);
  EXPECT_FALSE(fs::exists(folder / "gone.sqlite"));
  base::write_whole(folder / "text", std::string(5000, 'x'));
  EXPECT_NE(refusal(folder / "text", true).find("cannot be opened as a catalogue"),
            std::string::npos);
  Catalogue::open((folder / "c.sqlite").string(), true);
  {
    soci::session session(soci::sqlite3, "db=\"" + (folder / "c.sqlite").string() + "\"");
    session << "INSERT INTO catalogue_schema VALUES (99)";
  }
  EXPECT_NE(refusal(folder / "c.sqlite", true).find("schema 99, made by a newer windwright"),
            std::string::npos);
  EXPECT_NE(refusal("postgresql://nobody@/none?host=/nowhere", true)
                .find("cannot be opened as a catalogue"),
            std::string::npos);
}

TEST(Catalogue, IsFoundInAFolderByTwoNames) {
  const fs::path folder = fresh_folder();
  EXPECT_FALSE(catalogue_of_folder(folder).has_value());
  base::write_whole(folder / "catalogue.url", "postgresql://wind@lab/wind\n");
  EXPECT_EQ(catalogue_of_folder(folder), "postgresql://wind@lab/wind");
  base::write_whole(folder / "catalogue.sqlite", "x");
  EXPECT_EQ(catalogue_of_folder(folder), (folder / "catalogue.sqlite").string());
}

}  // namespace
}  // namespace windwright::catalogue

// SPDX-License-Identifier: Apache-2.0
#include "catalogue/full_text.h"

#include "catalogue/schema.h"

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <soci/soci.h>

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

namespace windwright::catalogue {

namespace {

using soci::use;

// The prefixes as each database writes them. They are letters, digits and bytes beyond ASCII: there
// is nothing in them to quote.
std::string query_of(const std::vector<std::string>& words, const char* form, const char* between) {
  std::vector<std::string> terms;
  for (const std::string& word : words)
    terms.push_back(fmt::format(fmt::runtime(form), word));
  return fmt::format("{}", fmt::join(terms, between));
}

std::vector<std::int64_t> ids(soci::session& session, const std::string& statement,
                              const std::string& query) {
  std::vector<std::int64_t> found;
  long long id = 0;
  soci::statement wanted = (session.prepare << statement, use(query), soci::into(id));
  wanted.execute();
  while (wanted.fetch())
    found.push_back(id);
  return found;
}

class Fts5 final : public FullText {
 public:
  void put(soci::session& session, std::int64_t entry,
           const std::vector<std::string>& words) override {
    const auto id = static_cast<long long>(entry);
    const std::string text = fmt::format("{}", fmt::join(words, " "));
    session << "DELETE FROM words WHERE rowid = :id", use(id);
    session << "INSERT INTO words (rowid, body) VALUES (:id, :words)", use(id), use(text);
  }
  std::vector<std::int64_t> find(soci::session& session,
                                 const std::vector<std::string>& words) override {
    return ids(session, "SELECT rowid FROM words WHERE words MATCH :query",
               query_of(words, "\"{}\"*", " "));
  }
};

class TsVector final : public FullText {
 public:
  void put(soci::session& session, std::int64_t entry,
           const std::vector<std::string>& words) override {
    const auto id = static_cast<long long>(entry);
    const std::string text = fmt::format("{}", fmt::join(words, " "));
    session << "DELETE FROM words WHERE entry_id = :id", use(id);
    session << "INSERT INTO words (entry_id, words) VALUES (:id, to_tsvector('simple', :words))",
        use(id), use(text);
  }
  std::vector<std::int64_t> find(soci::session& session,
                                 const std::vector<std::string>& words) override {
    // The planner takes a scan of the whole table for cheaper than its index: it does not count
    // that long lists of words lie elsewhere, and have to be fetched and unpacked one by one.
    session << "SET enable_seqscan = off";
    std::vector<std::int64_t> found =
        ids(session, "SELECT entry_id FROM words WHERE words @@ to_tsquery('simple', :query)",
            query_of(words, "{}:*", " & "));
    session << "RESET enable_seqscan";
    return found;
  }
};

}  // namespace

std::unique_ptr<FullText> full_text(Dialect dialect) {
  if (dialect == Dialect::sqlite) return std::make_unique<Fts5>();
  return std::make_unique<TsVector>();
}

}  // namespace windwright::catalogue

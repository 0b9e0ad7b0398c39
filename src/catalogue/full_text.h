// SPDX-License-Identifier: Apache-2.0
// Inside the catalogue module only.
#pragma once

#include "catalogue/schema.h"

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

namespace soci {
class session;
}

namespace windwright::catalogue {

/// The index over the words of entries: FTS5 in SQLite, tsvector in PostgreSQL.
class FullText {
 public:
  FullText() = default;
  FullText(const FullText&) = delete;
  FullText& operator=(const FullText&) = delete;
  virtual ~FullText() = default;
  /// Replaces the words of an entry.
  virtual void put(soci::session& session, std::int64_t entry,
                   const std::vector<std::string>& words) = 0;
  /// Entries that have for each of these a word that begins with it, in any order.
  virtual std::vector<std::int64_t> find(soci::session& session,
                                         const std::vector<std::string>& words) = 0;
};

std::unique_ptr<FullText> full_text(Dialect dialect);

}  // namespace windwright::catalogue

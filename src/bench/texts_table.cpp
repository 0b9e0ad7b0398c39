// SPDX-License-Identifier: Apache-2.0
#include "bench/texts_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "bench/bench.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <string>
#include <string_view>

namespace windwright::bench {
namespace {

using base::BadInput;
using base::Settings;

bool is_language(std::string_view name) {
  return (name.size() == 2 || name.size() == 3) &&
         std::all_of(name.begin(), name.end(), [](char c) { return c >= 'a' && c <= 'z'; });
}

}  // namespace

Texts texts_from_tables(const Settings& root) {
  Texts texts;
  const std::optional<Settings> all = root.optional_table("texts");
  if (!all) return texts;
  for (const std::string& language : all->keys()) {
    if (!is_language(language)) {
      throw BadInput(all->place(language), fmt::format("'{}' is no language", language),
                     "two or three small letters of ISO 639: es");
    }
    const Settings table = all->table(language);
    for (const std::string& text : table.keys()) {
      texts[language][text] = table.text(text);
    }
  }
  return texts;
}

Texts texts_of(const Bench& bench) {
  return texts_from_tables(Settings::from_text(bench.text, bench.file.string()));
}

}  // namespace windwright::bench
